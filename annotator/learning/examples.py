"""Phrases with the fingerings that stand in a part: what there is to learn from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from annotator.deciding import prepare, read_notes
from annotator.fingering.model import ReadNote
from annotator.fingering.phrases import phrases
from annotator.instruments import Instrument
from annotator.options import Options


@dataclass(frozen=True, slots=True)
class Phrase:
    """A phrase of a line: its notes, and for each the valves that are printed on it, or "".

    ``where``: for each note the file, part and measure, in words.
    """

    notes: tuple[ReadNote, ...]
    printed: tuple[str, ...]
    where: tuple[str, ...]

    @property
    def marked(self) -> int:
        """How many notes have a fingering printed."""
        return sum(map(bool, self.printed))


def examples(files: Sequence[tuple[str, bytes]], options: Options) -> list[Phrase]:
    """The phrases of ``files`` (name, bytes) that have printed fingerings, in order.

    Marks of ours are none of the player's and are not looked at; where a note has several fingerings
    printed, the first is what is played. Raises as ``annotate`` does.
    """
    return [phrase for name, data in files for phrase in _of_file(name, data, options) if phrase.marked]


def _of_file(name: str, data: bytes, options: Options) -> Iterator[Phrase]:
    prepared = prepare(data, options)
    for played in prepared.played:
        part = played.part
        for line in played.lines:
            notes = read_notes(part, line.line, line.pitches, prepared.clock)
            printed = [note.printed[0] if note.printed else "" for note in line.line.notes]
            where = [
                f"{name}, {part.name or part.id}, measure {part.measures[note.measure].number}: {pitch.name}"
                for note, pitch in zip(line.line.notes, line.pitches, strict=True)
            ]
            for stretch in phrases(notes):
                yield Phrase(tuple(notes[stretch]), tuple(printed[stretch]), tuple(where[stretch]))


def instrument_of(options: Options) -> Instrument:
    """The trumpet that the fingerings are for."""
    from annotator.instruments import load  # noqa: PLC0415 - beside its one use

    return load(options.instrument) if isinstance(options.instrument, str) else options.instrument
