"""What a part's notes become on the instrument in hand: pitches, accidentals and keys, measure by measure.

The cue line and the transposed part are both written from this.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, groupby, pairwise

from annotator.marking.rewrite import attributes_xml, key_xml, pitch_xml
from annotator.reading import Accidental, accidentals
from annotator.reading.accidentals import Staff
from annotator.reading.stretches import Stretch, StretchAt
from annotator.score.model import SAME_PLACE, Head, Key, Part


@dataclass(frozen=True, slots=True)
class ReadPart:
    """``notes`` gives for each pitched note's number the XML of its pitch and accidental ("" for none).

    ``keys`` are the signatures to write, each where it changes (of 0 fifths in a part that has none).
    """

    notes: dict[int, tuple[str, str]]
    keys: tuple[Key, ...]


def read_part(part: Part, at: StretchAt) -> ReadPart:
    """``part`` as read: every head's pitch and accidental, and the keys."""
    notes: dict[int, tuple[str, str]] = {}
    staves: dict[int, Staff] = {}
    of_head = at.of_head(part)
    for heads in _measures(part.heads):
        begun: set[int] = set()
        for number, stretch, run in _runs(heads, of_head):
            staff = staves.get(number)
            if staff is None:
                staff = staves[number] = Staff()
            read = stretch.read
            pitches = [read[head.pitch] for head in run]
            signs = accidentals(
                [(pitch, head.tied) for pitch, head in zip(pitches, run, strict=True)],
                _printed_fifths(part, at, number, run[0]),
                staff,
                new_bar=number not in begun,
            )
            begun.add(number)
            for head, pitch, sign in zip(run, pitches, signs, strict=True):
                accidental = _sign_xml(sign) if sign is not None and not head.fraction else ""
                notes[head.place] = (pitch_xml(pitch, head.fraction), accidental)
    return ReadPart(notes, _keys(part, at))


def _printed_fifths(part: Part, at: StretchAt, staff: int, head: Head) -> int:
    """The signature that stands on the staff, whoever of its players has the note."""
    own = at.staff(part, staff) if at.lines else at
    return own(head.onset).read_fifths or 0


def _keys(part: Part, at: StretchAt) -> tuple[Key, ...]:
    """The signatures to write; for each staff its own where they differ."""
    staves = sorted({line.staff for line in part.lines}) or [1]
    found = [_of_staff(at.staff(part, staff)) for staff in staves]
    if all(each == found[0] for each in found):
        keys = found[0]
    else:
        keys = [replace(key, staff=staff) for staff, own in zip(staves, found, strict=True) for key in own]
        keys.sort(key=lambda key: (key.measure, key.staff, key.position))
    return tuple(keys) or ((Key(0.0, 0, 0),) if part.keys else ())


def _of_staff(at: StretchAt) -> list[Key]:
    keys: list[Key] = []
    for stretch in at.stretches:
        fifths = stretch.read_fifths
        if fifths is not None and (not keys or keys[-1].fifths != fifths):
            keys.append(Key(stretch.position, stretch.measure, fifths))
    return keys


def key_changes(part: Part, read: ReadPart, measure: int) -> tuple[dict[str, str], dict[int, str]]:
    """The keys that ``measure`` (an index) begins with, and those before a note in it.

    The first as children for the measure's ``<attributes>``, the others as XML by note number.
    """
    extra: dict[str, str] = {}
    before: dict[int, str] = {}
    first = bisect_left(read.keys, measure, key=_measure_of)
    last = bisect_right(read.keys, measure, key=_measure_of)
    if first == last:
        return extra, before
    heads = part.heads[
        bisect_left(part.heads, measure, key=_measure_of) : bisect_right(part.heads, measure, key=_measure_of)
    ]
    onsets, firsts = _first_from(heads)
    for key in read.keys[first:last]:
        at = bisect_left(onsets, key.position - SAME_PLACE)
        if key.position - part.measures[measure].start < SAME_PLACE or at == len(onsets):
            extra["key"] = (extra.get("key", "") if key.staff else "") + key_xml(key.fifths, key.staff)
        else:
            new = attributes_xml("", {"key": key_xml(key.fifths, key.staff)})
            before[firsts[at]] = (before.get(firsts[at], "") if key.staff else "") + new
    return extra, before


def _measure_of(one: Key | Head) -> int:
    return one.measure


def _first_from(heads: Sequence[Head]) -> tuple[list[float], list[int]]:
    """The onsets in order, and for each the first note in the file that begins there or later."""
    ordered = sorted((head.onset, head.place) for head in heads)
    places = accumulate((place for _, place in reversed(ordered)), min)
    return [onset for onset, _ in ordered], list(places)[::-1]


def _measures(heads: Sequence[Head]) -> Iterator[list[Head]]:
    """The heads of each measure that has any."""
    first = 0
    for index in range(1, len(heads) + 1):
        if index == len(heads) or heads[index].measure != heads[first].measure:
            yield list(heads[first:index])
            first = index


def _runs(heads: list[Head], of_head: Callable[[Head], Stretch]) -> Iterator[tuple[int, Stretch, list[Head]]]:
    """A measure's heads as the eye meets them: staff by staff, left to right, in runs of one stretch.

    Voices follow one another in the file, but an accidental rules its staff from left to right.
    """
    first = heads[0]
    ordered = all(
        earlier.staff == later.staff and earlier.onset <= later.onset for earlier, later in pairwise(heads)
    )
    stretches = [of_head(head) for head in heads]
    if ordered and all(each is stretches[0] for each in stretches):
        yield first.staff, stretches[0], heads
        return
    both = sorted(zip(heads, stretches, strict=True), key=lambda item: (item[0].staff, item[0].onset))
    for (staff, _), run in groupby(both, key=lambda item: (item[0].staff, id(item[1]))):
        same = list(run)
        yield staff, same[0][1], [head for head, _ in same]


def _sign_xml(sign: Accidental) -> str:
    courtesy = ' cautionary="yes"' if sign.cautionary else ""
    return f"<accidental{courtesy}>{sign.name}</accidental>"
