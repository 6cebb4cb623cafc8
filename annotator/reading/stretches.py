"""A part cut into stretches of one crook and one key: what each written pitch is read as there."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

from annotator.keys import interval_in_key, read_key
from annotator.pitch import UNISON, Interval
from annotator.reading.model import Reading, Segment
from annotator.reading.spelling import ReadPitches, may_vary, one_spelling, phrases, starts_at
from annotator.score.model import SAME_PLACE, Key, Part, key_at


def signature_of(part: Part, key: str = "auto") -> Part:
    """``part`` with the key signatures its reading is to have.

    ``key`` is ``auto``, ``signature`` or ``none``.

    Old parts have none, and a transposed line then keeps to accidentals; programs write such a part
    as zero sharps or flats throughout, which looks the same on the page.
    """
    if key == "signature":
        return part if part.keys else replace(part, keys=(Key(0.0, 0, 0),))
    if key == "auto" and any(each.fifths for each in part.keys):
        return part
    return replace(part, keys=()) if part.keys else part


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of a part with one segment and one key: what a cue line is written by.

    ``read_fifths`` is the key signature read, None where there is none. ``interval`` is the segment's,
    or its enharmonic where the key would pass six sharps or flats. ``read`` gives the pitch read for a
    pitch written.
    """

    position: float
    measure: int
    segment: Segment
    interval: Interval
    read_fifths: int | None
    read: ReadPitches


class StretchAt:
    """Looks up the stretch in force at a position of a part."""

    def __init__(self, found: Sequence[Stretch]) -> None:
        self.stretches = tuple(found)
        self._starts = [stretch.position for stretch in found]
        self._only = found[0] if len(found) == 1 else None

    def __call__(self, position: float) -> Stretch:
        if self._only is not None:
            return self._only
        return self.stretches[max(0, bisect_right(self._starts, position + SAME_PLACE) - 1)]


def stretch_at(part: Part, reading: Reading, key: str = "auto", *, old_part: bool = False) -> StretchAt:
    """The stretches of ``part``, with key signatures as ``key`` asks (see ``signature_of``).

    ``old_part``: instead of what the player reads, how an old part would have been written for the
    crook named or inferred, where that can be said.
    """
    keys = signature_of(part, key).keys
    cuts = {segment.from_position: segment.from_measure_index for segment in reading.segments}
    cuts |= {each.position: each.measure for each in keys}
    found: list[Stretch] = []
    for position, measure in sorted(cuts.items()):
        written = key_at(keys, position)
        segment = reading.at(position)
        wanted = segment.old_part if old_part and segment.old_part is not None else segment.read
        interval = interval_in_key(wanted, written or 0)
        fifths = None if written is None else read_key(written, interval)
        found.append(
            Stretch(
                position,
                measure,
                segment,
                interval,
                fifths,
                ReadPitches(interval, fifths, other_key=interval != wanted),
            )
        )
    return StretchAt(_with_one_spelling(part, found))


def _with_one_spelling(part: Part, stretches: list[Stretch]) -> list[Stretch]:
    """The stretches cut further where a phrase had a sound in more than one spelling."""
    pitches = {note.pitch for line in part.lines for note in line.notes}
    if not any(each.interval != UNISON and may_vary(pitches, each.read) for each in stretches):
        return stretches
    at = StretchAt(stretches)
    starts = [each.position for each in stretches]
    cuts: dict[float, Stretch] = {each.position: each for each in stretches}
    for whole in phrases(note for line in part.lines for note in line.notes):
        for notes in starts_at(whole, starts):
            first = notes[0]
            stretch = at(first.onset)
            fifths = stretch.read_fifths
            instead = {} if stretch.interval == UNISON else one_spelling(notes, stretch.read, fifths)
            cuts[first.onset] = replace(
                stretch,
                position=first.onset,
                measure=first.measure,
                read=stretch.read.but(instead) if instead else stretch.read,
            )
    found: list[Stretch] = []
    for _, stretch in sorted(cuts.items()):
        if not found or found[-1].read is not stretch.read:
            found.append(stretch)
    return found
