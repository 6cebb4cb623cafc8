"""The way of a part through the house: bytes in, marked bytes and a report out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from annotator.collector import without_collector
from annotator.findings import Finding
from annotator.fingering import PlayedNote, ReadNote, plan
from annotator.fingering.ornaments import read_ornament
from annotator.instruments import Instrument, load
from annotator.marks import line_marks
from annotator.options import Options
from annotator.phrases import second_plans
from annotator.pitch import Pitch
from annotator.reading import is_trumpet, segments
from annotator.reading.names import is_other_instrument
from annotator.report import PlayedLine, PlayedPart, report
from annotator.score.model import Line, Note, Ornament, Part, Score
from annotator.score.reader import ScoreText, open_text, read
from annotator.score.source import Source, open_source
from annotator.score.splice import splice, without_marks
from annotator.score.writer import Insertion, Order, cue_insertions, lyric_numbers, mark_insertions, order_of
from annotator.sheets.cue import cue_part
from annotator.sheets.reading_part import read_part, stretch_at
from annotator.timing import Clock

_JOINED = 0.02
"""Quarters of gap that still count as joined: programs round what they play."""


@dataclass(frozen=True, slots=True)
class Annotated:
    """A marked file. ``data``: the input plus insertions. ``report``: ``crookline.report/1``, as in the
    documentation of the report, ready for ``json.dumps``.
    """

    data: bytes
    report: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Prepared:
    """A score that has been read, without any marks of ours in it."""

    source: Source
    written: ScoreText
    score: Score
    instrument: Instrument
    played: tuple[PlayedPart, ...]
    clock: Clock


def annotate(data: bytes, options: Options | None = None, name: str = "") -> Annotated:
    """Mark the trumpet parts of a MusicXML file (.musicxml, .xml or .mxl).

    Marks of an earlier run are taken out first, so annotating twice is annotating once.
    Raises UnreadableScore, NoTrumpetPart, BadOption or BadInstrument.
    """
    with without_collector():
        # In a call of its own, so that what it held is gone when the collector looks again.
        return _annotated(data, options or Options(), name)


def _annotated(data: bytes, options: Options, name: str) -> Annotated:
    source, written, score = _read(data, options)
    order = order_of(written)
    # The tree has said all it knows; half of the memory a score takes is its.
    written.root.clear()
    prepared = _decide(source, written, score, options)
    insertions: list[Insertion] = []
    for part in prepared.played:
        insertions += _part_insertions(prepared, part, options, order)
    marked = prepared.source.with_text(splice(prepared.written.text, insertions))
    found = report(
        score=prepared.score,
        played=prepared.played,
        instrument=prepared.instrument,
        clock=prepared.clock,
        name=name,
        digest=sha256(data).hexdigest(),
    )
    return Annotated(marked, found)


def strip(data: bytes) -> bytes:
    """The file without the marks ``annotate`` put in: the original, byte for byte.

    An .mxl is the original member by member. Raises UnreadableScore.
    """
    source = open_source(data)
    text = without_marks(source.text)
    return data if text == source.text else source.with_text(text)


def prepare(data: bytes, options: Options) -> Prepared:
    """Read ``data`` and decide what is played on every note. Raises as ``annotate`` does."""
    return _decide(*_read(data, options), options)


def _read(data: bytes, options: Options) -> tuple[Source, ScoreText, Score]:
    source = open_source(data)
    text = without_marks(source.text)
    # An .mxl's other members stay where they are; only the score's own bytes are parsed.
    xml = source.xml if text == source.text else text.encode(source.encoding, "xmlcharrefreplace")
    written = open_text(text, xml)
    return source, written, read(written, options.part, is_trumpet, is_other_instrument)


def _decide(source: Source, written: ScoreText, score: Score, options: Options) -> Prepared:
    instrument = load(options.instrument) if isinstance(options.instrument, str) else options.instrument
    clock = Clock(score.tempos)
    played = tuple(_play(part, score, instrument, clock, options) for part in score.parts)
    return Prepared(source, written, score, instrument, played, clock)


def _play(part: Part, score: Score, instrument: Instrument, clock: Clock, options: Options) -> PlayedPart:
    reading = segments(part, instrument, options.crook, score.parts)
    at = stretch_at(part, reading, options.key)
    lines = []
    findings = list(reading.findings)
    for line in part.lines:
        pitches = [at(note.onset).read[note.pitch] for note in line.notes]
        read_notes = _read_notes(part, line.notes, pitches, clock)
        how = plan(read_notes, instrument, options.profile)
        second = None
        if options.second_best:
            second = tuple(
                second_plans(
                    line.notes,
                    read=read_notes,
                    how=how,
                    measures=part.measures,
                    instrument=instrument,
                    profile=options.profile,
                )
            )
        lines.append(PlayedLine(line, tuple(pitches), how, second))
        findings += _note_findings(part, line, pitches, how)
    return PlayedPart(part, reading, at, tuple(lines), tuple(findings))


def _read_notes(part: Part, notes: Sequence[Note], pitches: Sequence[Pitch], clock: Clock) -> list[ReadNote]:
    seconds = clock.seconds
    make = tuple.__new__
    found: list[ReadNote] = []
    end, end_seconds = float("-inf"), 0.0
    for note, pitch in zip(notes, pitches, strict=True):
        start, duration = note.onset, note.duration
        onset = end_seconds if start == end else seconds(start)
        joined = start - end < _JOINED and not note.breath
        end = start + duration
        end_seconds = seconds(end) if duration else onset
        # Named in the part as written, so that a line read without a key signature has them too.
        ornaments = _ornaments_read(part, note, pitch) if note.ornaments else ()
        length = end_seconds - onset
        read = (pitch, onset, length, note.slurred, joined, note.grace, ornaments, 0, duration)
        found.append(make(ReadNote, read))
    return found


def _ornaments_read(part: Part, note: Note, pitch: Pitch) -> tuple[Ornament, ...]:
    fifths = next((key.fifths for key in reversed(part.keys) if key.position <= note.onset), 0)
    return tuple(read_ornament(each, note.pitch, fifths, pitch) for each in note.ornaments)


def _note_findings(
    part: Part, line: Line, pitches: Sequence[Pitch], how: Sequence[PlayedNote]
) -> Iterator[Finding]:
    for note, pitch, played in zip(line.notes, pitches, how, strict=True):
        measure = part.measures[note.measure].number
        if played.fingering is None:
            yield Finding("out-of-range", f"{pitch.name} as read: {played.why}", part.id, measure)
        elif note.printed and played.fingering.valves not in note.printed:
            yield Finding(
                "printed-fingering",
                f"{pitch.name} as read is printed as {', '.join(note.printed)}, and would be "
                f"{played.fingering.valves} here; the printed one stays",
                part.id,
                measure,
            )


def _part_insertions(
    prepared: Prepared, played: PlayedPart, options: Options, order: Order
) -> Iterator[Insertion]:
    part = played.part
    written = prepared.written
    numbers = lyric_numbers(part)
    for line in played.lines:
        marks = line_marks(line.line, line.pitches, line.how, options)
        yield from mark_insertions(written.places, line.line, marks, numbers)
    # Asked to infer, the line shows how an old part would have been written for that crook.
    old_part = options.crook.strip().lower() == "infer" and any(
        segment.old_part is not None for segment in played.reading.segments
    )
    if "cue" in options.mark and (played.reading.differs or old_part):
        at = stretch_at(part, played.reading, options.key, old_part=True) if old_part else played.at
        cue = cue_part(
            written.text,
            written.places,
            part,
            read=read_part(part, at),
            words=_cue_words(prepared, played) if old_part else f"as read on {prepared.instrument.name}",
            instrument=prepared.instrument,
            part_id=_new_id(written.text, f"{part.id}-cue"),
        )
        yield from cue_insertions(written.places, part, cue, order)


def _cue_words(prepared: Prepared, played: PlayedPart) -> str:
    crooks = dict.fromkeys(segment.natural_crook.name for segment in played.reading.segments)
    return f"as written for trumpet in {', '.join(crooks)}"


def _new_id(text: str, wanted: str) -> str:
    """``wanted``, or the like of it that stands in no attribute of the document."""
    name, number = wanted, 2
    while any(f"{quote}{each}{quote}" in text for each in (name, f"{name}-I1") for quote in "\"'"):
        name, number = f"{wanted}-{number}", number + 1
    return name
