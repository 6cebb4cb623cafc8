"""The way of a part through the house: bytes in, marked bytes and a report out."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from hashlib import sha256
from itertools import count
from typing import Any

from annotator.collector import without_collector
from annotator.deciding import Prepared, prepare
from annotator.errors import BadOption
from annotator.marking.as_read import read_part
from annotator.marking.cue import cue_part
from annotator.marking.insertions import cue_insertions, mark_insertions
from annotator.marking.marks import line_marks
from annotator.marking.recording import record_insertions, recorded
from annotator.marking.splice import Insertion, splice
from annotator.options import Options
from annotator.played import PlayedPart
from annotator.reading.stretches import stretch_at
from annotator.registry.mark_rows import MARK_NAMES
from annotator.report import report
from annotator.score.record import RecordedPart
from annotator.score.resaved import without_marks
from annotator.score.source import open_source
from annotator.styles import styles


@dataclass(frozen=True, slots=True)
class Annotated:
    """A marked file. ``data``: the input plus insertions. ``report``: ``crookline.report/1``, as in the
    documentation of the report, ready for ``json.dumps``.
    """

    data: bytes
    report: dict[str, Any]


def annotate(data: bytes, options: Options | None = None, name: str = "") -> Annotated:
    """Mark the trumpet parts of a MusicXML file (.musicxml, .xml or .mxl).

    Marks of an earlier run are taken out first, so annotating twice is annotating once.
    Raises UnreadableScore, NoTrumpetPart, BadOption or BadInstrument.
    """
    with without_collector():
        # In a call of its own, so that what it held is gone when the collector looks again.
        return _annotated(data, options or Options(), name)


def _annotated(data: bytes, options: Options, name: str) -> Annotated:
    prepared = prepare(data, options)
    insertions: list[Insertion] = []
    records: list[RecordedPart] = []
    for part in prepared.played:
        insertions += _part_insertions(prepared, part, options, records)
    if insertions:
        insertions += record_insertions(prepared.text, prepared.places, records)
    marked = prepared.source.with_text(splice(prepared.text, insertions))
    found = report(
        score=prepared.score,
        played=prepared.played,
        instrument=prepared.instrument,
        clock=prepared.clock,
        name=name,
        digest=sha256(data).hexdigest(),
        options=options,
    )
    return Annotated(marked, found)


def strip(data: bytes) -> bytes:
    """The file without the marks ``annotate`` put in: the original, byte for byte.

    An .mxl is the original member by member. Raises UnreadableScore.
    """
    return stripped(data).data


@dataclass(frozen=True, slots=True)
class Stripped:
    """A file without marks. ``counts``: how many of each kind were taken out (a file that no other program
    has saved does not say which, and has ``marks``). ``unknown``: fingerings left, of which nothing tells
    any more whether they were put in or are the player's own.
    """

    data: bytes
    counts: Mapping[str, int]
    unknown: int


def stripped(data: bytes, kinds: Collection[str] = (), *, force: bool = False) -> Stripped:
    """``data`` without marks: without all, or without those of ``kinds`` (words of ``Options.mark``) only.

    A file that a notation program has saved lacks the signs of where marks begin and end; what it kept
    of others is looked for. ``force``: also what only looks like a mark (every fingering, lyric lines of
    figures, words that begin with ``!``). Raises UnreadableScore, BadOption.
    """
    for kind in kinds:
        if kind not in MARK_NAMES:
            raise BadOption(f"{kind!r} is no mark; choose from {', '.join(MARK_NAMES)}", field="mark")
    source = open_source(data)
    found = without_marks(source.text, kinds, force=force)
    new = data if found.text == source.text else source.with_text(found.text)
    return Stripped(new, found.counts, found.unknown)


def _part_insertions(
    prepared: Prepared, played: PlayedPart, options: Options, records: list[RecordedPart]
) -> Iterator[Insertion]:
    part = played.part
    marked = []
    seen: set[int] = set()
    for each in played.lines:
        marks = line_marks(each.line, each.pitches, each.how, options)
        if each.line.player:
            # A note for two players bears the first one's marks.
            marks = [(note, mark) for note, mark in marks if note.place not in seen]
            seen.update(note.place for note in each.line.notes)
        marked.append((each.line, marks))
    yield from mark_insertions(prepared.text, prepared.places, part, marked, styles(options.style))
    put_in = {note.place: mark for _, marks in marked for note, mark in marks if mark.fingering}
    records.append(recorded(prepared.text, prepared.places, part, put_in))
    # Asked to infer, the line shows how an old part would have been written for that crook.
    old_part = options.crook.strip().lower() == "infer" and any(
        segment.old_part is not None for segment in played.reading.segments
    )
    if "cue" in options.mark and (played.reading.differs or old_part):
        at = stretch_at(part, played.reading, options.key, old_part=True) if old_part else played.at
        cue = cue_part(
            prepared.text,
            prepared.places,
            part,
            read=read_part(part, at),
            words=_cue_words(prepared, played) if old_part else f"as read on {prepared.instrument.name}",
            instrument=prepared.instrument,
            part_id=_new_id(prepared.text, f"{part.id}-cue"),
        )
        yield from cue_insertions(prepared.places, part, cue, prepared.order)


def _cue_words(prepared: Prepared, played: PlayedPart) -> str:
    crooks = dict.fromkeys(segment.natural_crook.name for segment in played.reading.segments)
    return f"as written for trumpet in {', '.join(crooks)}"


def _new_id(text: str, wanted: str) -> str:
    """``wanted``, or the like of it that stands in no attribute of the document."""
    if wanted not in text:
        return wanted
    like = re.compile(rf"""["']{re.escape(wanted)}(?:-(\d{{1,9}}))?(?:-I1)?["']""")
    taken = {found.group(1) for found in like.finditer(text)}
    if None not in taken:
        return wanted
    return next(f"{wanted}-{number}" for number in count(2) if str(number) not in taken)
