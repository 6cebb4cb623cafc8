"""How the central values come about: a score read, and everything decided about each of its trumpet parts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from lxml import etree

from annotator.demanding import with_demands
from annotator.findings import Finding
from annotator.fingering import PlayedNote, ReadNote, plan
from annotator.fingering.ornaments import read_ornament
from annotator.fingering.phrases import second_plans
from annotator.fingering.sentences import out_of_reach
from annotator.instruments import Instrument, load
from annotator.options import Options
from annotator.pitch import Pitch
from annotator.played import PlayedLine, PlayedPart
from annotator.reading import is_trumpet, segments
from annotator.reading.names import is_other_instrument, may_be_trumpet
from annotator.reading.players import with_players
from annotator.reading.section import Section
from annotator.reading.stretches import stretch_at
from annotator.reading.unprinted import without_accidentals
from annotator.score.loudness import Loudness
from annotator.score.model import Line, Note, Ornament, Part, Score, key_at
from annotator.score.partwise import as_partwise, is_timewise
from annotator.score.places import Places
from annotator.score.reader import OpenScore, Order, open_text, read
from annotator.score.resaved import without_marks
from annotator.score.source import Source, open_source
from annotator.timing import Clock

_JOINED = 0.02
"""Quarters of gap that still count as joined: programs round what they play."""


@dataclass(frozen=True, slots=True)
class Prepared:
    """A score that has been read, without any marks of ours in it, and what is played on every note.

    ``text`` is the score's, ``places`` where things stand in it, ``order`` that of its parts.
    """

    source: Source
    text: str
    places: Places
    order: Order
    score: Score
    instrument: Instrument
    played: tuple[PlayedPart, ...]
    clock: Clock


def prepare(data: bytes, options: Options) -> Prepared:
    """Read ``data`` and decide what is played on every note. Raises as ``annotate`` does."""
    source, written, score = _without_tree(data, options)
    return _decide(source, written, score, options)


def prepare_tree(data: bytes, options: Options) -> tuple[Prepared, etree._Element]:
    """As ``prepare``, and the root of the tree that was read, for those who look for more in it."""
    source, opened, score = _read(data, options)
    return _decide(source, (opened.text, opened.places, opened.order), score, options), opened.root


def _without_tree(data: bytes, options: Options) -> tuple[Source, tuple[str, Places, Order], Score]:
    # The tree goes here, when it has said all it knows: half of the memory a score takes is its.
    source, opened, score = _read(data, options)
    return source, (opened.text, opened.places, opened.order), score


def _read(data: bytes, options: Options) -> tuple[Source, OpenScore, Score]:
    source = open_source(data)
    unmarked = without_marks(source.text)
    text = unmarked.text
    opened = open_text(as_partwise(text) if options.partwise and is_timewise(text) else text)
    score = read(opened, options.part, is_trumpet, is_other_instrument, may_be_trumpet)
    noticed = source.findings + score.warnings
    unprinted = (without_accidentals(part, opened.text, opened.places) for part in score.parts)
    noticed += tuple(finding for finding in unprinted if finding is not None)
    if unmarked.unknown:
        noticed += (_unknown(unmarked.unknown),)
    parts = tuple(map(with_players, score.parts))
    return source, opened, replace(score, parts=parts, warnings=noticed)


def _unknown(count: int) -> Finding:
    return Finding(
        "marks-not-recognised",
        f"the file was marked once and saved by a program that dropped what tells marks from a player's own "
        f"fingerings; the {count} fingerings in it were left as they are (to take all fingerings out: "
        "crookline strip --force)",
    )


def _decide(source: Source, written: tuple[str, Places, Order], score: Score, options: Options) -> Prepared:
    instrument = load(options.instrument) if isinstance(options.instrument, str) else options.instrument
    clock = Clock(score.tempos)
    section = Section(score.parts, score.others, clock)
    loudness = Loudness(written[0], written[1])
    played = tuple(
        _play(part, section, instrument, clock, options=options, loudness=loudness) for part in score.parts
    )
    return Prepared(source, *written, score, instrument, played, clock)


def _play(
    part: Part,
    section: Section,
    instrument: Instrument,
    clock: Clock,
    *,
    options: Options,
    loudness: Loudness,
) -> PlayedPart:
    reading = segments(part, instrument, options.crook, section, clock)
    at = stretch_at(part, reading, options.key)
    lines = []
    findings = list(reading.findings)
    for line in part.lines:
        own = at.line(line.number)
        pitches = [own(note.onset).read[note.pitch] for note in line.notes]
        read = read_notes(part, line, pitches, clock)
        planned = plan(read, instrument, options.profile)
        how = with_demands(part, line, read, planned, instrument=instrument, loudness=loudness)
        second = None
        if options.second_best:
            second = tuple(
                second_plans(
                    line.notes,
                    read=read,
                    how=how,
                    measures=part.measures,
                    instrument=instrument,
                    profile=options.profile,
                )
            )
        lines.append(PlayedLine(line, tuple(pitches), how, second))
        told = set(findings) if line.player else set()  # a note for two players is spoken of once
        noticed = _note_findings(part, line, pitches, how, instrument)
        findings += (each for each in noticed if each not in told)
    return PlayedPart(part, reading, at, tuple(lines), tuple(findings))


def read_notes(part: Part, line: Line, pitches: Sequence[Pitch], clock: Clock) -> list[ReadNote]:
    """The notes of a line in real time, each with the pitch it is read as."""
    seconds = clock.seconds
    make = tuple.__new__
    found: list[ReadNote] = []
    end, end_seconds = float("-inf"), 0.0
    for note, pitch in zip(line.notes, pitches, strict=True):
        start, duration = note.onset, note.duration
        onset = end_seconds if start == end else seconds(start)
        joined = start - end < _JOINED and not note.breath
        end = start + duration
        end_seconds = seconds(end) if duration else onset
        # Named in the part as written, so that a line read without a key signature has them too.
        ornaments = _ornaments_read(part, line, note, pitch) if note.ornaments else ()
        length = end_seconds - onset
        read = (pitch, onset, length, note.slurred, joined, note.grace, ornaments, 0, duration)
        found.append(make(ReadNote, read))
    return found


def _ornaments_read(part: Part, line: Line, note: Note, pitch: Pitch) -> tuple[Ornament, ...]:
    fifths = key_at([key for key in part.keys if key.staff in (0, line.staff)], note.onset) or 0
    return tuple(read_ornament(each, note.pitch, fifths, pitch) for each in note.ornaments)


def _note_findings(
    part: Part, line: Line, pitches: Sequence[Pitch], how: Sequence[PlayedNote], instrument: Instrument
) -> Iterator[Finding]:
    for note, pitch, played in zip(line.notes, pitches, how, strict=True):
        measure = part.measures[note.measure].number
        if played.fingering is None:
            yield Finding(
                "out-of-range",
                f"{pitch.name} as read: {out_of_reach(pitch.semitone, instrument)}",
                part.id,
                measure,
            )
        elif note.printed and played.fingering.valves not in note.printed:
            yield Finding(
                "printed-fingering",
                f"{pitch.name} as read is printed as {', '.join(note.printed)}, and would be "
                f"{played.fingering.valves} here; the printed one stays",
                part.id,
                measure,
            )
