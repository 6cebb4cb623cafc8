"""What a part's notes become on the instrument in hand: pitches, accidentals and keys, measure by measure.

The cue line and the transposed part are both written from this.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

from annotator.pitch import Interval, Pitch
from annotator.reading import Accidental, Reading, Segment, accidentals, read_key, read_pitch
from annotator.reading.accidentals import Staff
from annotator.reading.keys import interval_in_key
from annotator.score.model import Head, Key, Part
from annotator.score.rewrite import attributes_xml, key_xml, pitch_xml

_CLOSE = 1e-6
"""Quarters: positions nearer than this are the same place."""


@dataclass(frozen=True, slots=True)
class ReadPart:
    """``notes`` gives for each pitched note's number the XML of its pitch and accidental ("" for none).

    ``keys`` are the signatures to write, each where it changes (of 0 fifths in a part that has none).
    """

    notes: dict[int, tuple[str, str]]
    keys: tuple[Key, ...]


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


class ReadPitches(dict[Pitch, Pitch]):
    """Pitches as read at ``interval``, each worked out once."""

    def __init__(self, interval: Interval) -> None:
        super().__init__()
        self._interval = interval

    def __missing__(self, pitch: Pitch) -> Pitch:
        found = self[pitch] = read_pitch(pitch, self._interval)
        return found


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
        return self.stretches[max(0, bisect_right(self._starts, position + _CLOSE) - 1)]


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
        written = next((each.fifths for each in reversed(keys) if each.position <= position + _CLOSE), None)
        segment = reading.at(position)
        wanted = segment.old_part if old_part and segment.old_part is not None else segment.read
        interval = interval_in_key(wanted, written or 0)
        read = None if written is None else read_key(written, interval)
        found.append(Stretch(position, measure, segment, interval, read, ReadPitches(interval)))
    return StretchAt(found)


def read_part(part: Part, at: StretchAt) -> ReadPart:
    """``part`` as read: every head's pitch and accidental, and the keys."""
    keys: list[Key] = []
    for stretch in at.stretches:
        fifths = stretch.read_fifths
        if fifths is not None and (not keys or keys[-1].fifths != fifths):
            keys.append(Key(stretch.position, stretch.measure, fifths))
    if not keys and part.keys:
        keys = [Key(0.0, 0, 0)]
    notes: dict[int, tuple[str, str]] = {}
    staves: dict[int, Staff] = {}
    for heads in _measures(part.heads):
        begun: set[int] = set()
        for number, stretch, run in _runs(heads, at):
            staff = staves.get(number)
            if staff is None:
                staff = staves[number] = Staff()
            read = stretch.read
            pitches = [read[head.pitch] for head in run]
            signs = accidentals(
                [(pitch, head.tied) for pitch, head in zip(pitches, run, strict=True)],
                stretch.read_fifths or 0,
                staff,
                new_bar=number not in begun,
            )
            begun.add(number)
            for head, pitch, sign in zip(run, pitches, signs, strict=True):
                accidental = _sign_xml(sign) if sign is not None and not head.fraction else ""
                notes[head.place] = (pitch_xml(pitch, head.fraction), accidental)
    return ReadPart(notes, tuple(keys))


def key_changes(part: Part, read: ReadPart, measure: int) -> tuple[dict[str, str], dict[int, str]]:
    """The keys that ``measure`` (an index) begins with, and those before a note in it.

    The first as children for the measure's ``<attributes>``, the others as XML by note number.
    """
    extra: dict[str, str] = {}
    before: dict[int, str] = {}
    for key in read.keys:
        if key.measure != measure:
            continue
        later = [
            head.place
            for head in part.heads
            if head.measure == measure and head.onset >= key.position - _CLOSE
        ]
        if key.position - part.measures[measure].start < _CLOSE or not later:
            extra["key"] = key_xml(key.fifths)
        else:
            before[later[0]] = attributes_xml("", {"key": key_xml(key.fifths)})
    return extra, before


def _measures(heads: Sequence[Head]) -> Iterator[list[Head]]:
    """The heads of each measure that has any."""
    first = 0
    for index in range(1, len(heads) + 1):
        if index == len(heads) or heads[index].measure != heads[first].measure:
            yield list(heads[first:index])
            first = index


def _runs(heads: list[Head], at: StretchAt) -> Iterator[tuple[int, Stretch, list[Head]]]:
    """A measure's heads as the eye meets them: staff by staff, left to right, in runs of one stretch.

    Voices follow one another in the file, but an accidental rules its staff from left to right.
    """
    first = heads[0]
    ordered = all(
        earlier.staff == later.staff and earlier.onset <= later.onset for earlier, later in pairwise(heads)
    )
    if ordered and at(first.onset) is at(heads[-1].onset):
        yield first.staff, at(first.onset), heads
        return
    heads = sorted(heads, key=lambda head: (head.staff, head.onset))
    for (staff, _), run in groupby(heads, key=lambda head: (head.staff, at(head.onset).position)):
        same = list(run)
        yield staff, at(same[0].onset), same


def _sign_xml(sign: Accidental) -> str:
    courtesy = ' cautionary="yes"' if sign.cautionary else ""
    return f"<accidental{courtesy}>{sign.name}</accidental>"
