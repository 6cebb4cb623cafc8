"""Lines that leave the instrument's range: an octave moved where nothing else is playable, and said."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import chain
from operator import attrgetter
from typing import Protocol, runtime_checkable

from annotator.findings import Finding
from annotator.pitch import OCTAVE, Interval, Pitch
from annotator.reading.bass_clef import cut_at_bass_clefs, joined, same_reading
from annotator.reading.interval_words import in_words
from annotator.reading.model import Segment
from annotator.score.model import Note, Part

_PITCH = attrgetter("pitch")
_MOST_OUT = 0.5  # of a segment's notes out of range make an octave worth moving
_MOST_IN = 0.95  # of them must then be in range


@runtime_checkable
class Ranged(Protocol):
    """An instrument with a written range."""

    @property
    def name(self) -> str: ...
    @property
    def transposition(self) -> Interval: ...
    @property
    def low(self) -> Pitch: ...
    @property
    def high(self) -> Pitch: ...


def in_range(
    part: Part, segments: tuple[Segment, ...], instrument: Ranged
) -> tuple[tuple[Segment, ...], list[Finding]]:
    """The segments, read an octave away where most notes can't be played otherwise, and what lies out.

    The pitch that sounds is kept as long as the instrument can play most of it; an octave moved is
    always reported. Notes in the bass clef are looked at by themselves: old parts write them an octave
    lower than in the treble clef.
    """
    pieces = list(cut_at_bass_clefs(part, segments))
    notes = _by_segment(part, [segment for segment, _ in pieces])
    low, high = instrument.low.semitone, instrument.high.semitone
    made: list[Segment] = []
    findings = []
    for (segment, bass), own in zip(pieces, notes, strict=True):
        counts = Counter(map(_PITCH, own))
        shift = _octaves(counts, segment.read.chromatic, low, high)
        moved = segment
        if shift:
            octave = Interval(OCTAVE.diatonic * shift, OCTAVE.chromatic * shift)
            read = segment.read + octave
            moved = replace(segment, read=read, words=in_words(read))
            if bass and shift > 0:  # the old clef says where it sounds; elsewhere the player moves it
                moved = replace(moved, sounding=segment.sounding + octave)
            findings.append(_moved(part, segment, moved, bass=bass, instrument=instrument))
        findings += _outside(part, moved, own, counts, instrument, bass=bass)
        if made and same_reading(made[-1], moved):
            made[-1] = joined(made[-1], moved)
        else:
            made.append(moved)
    return tuple(made), findings


def _moved(part: Part, segment: Segment, moved: Segment, *, bass: bool, instrument: Ranged) -> Finding:
    span = f"the range of the {instrument.name}, {instrument.low.name} to {instrument.high.name} written"
    higher = moved.read.chromatic > segment.read.chromatic
    if bass and higher:
        return Finding(
            "old-bass-clef",
            "the bass clef here was read in the old way, an octave higher than it stands, since most notes "
            f"would lie below {span}, otherwise: {moved.words}",
            part.id,
            segment.from_measure,
        )
    return Finding(
        "octave-moved",
        f"most notes would lie {'below' if higher else 'above'} {span}, so they are read an octave "
        f"{'higher' if higher else 'lower'} than they sound: {moved.words} instead of {segment.words}",
        part.id,
        segment.from_measure,
    )


def _by_segment(part: Part, segments: Sequence[Segment]) -> list[list[Note]]:
    if len(segments) == 1:
        return [list(chain.from_iterable(line.notes for line in part.lines))]
    found: list[list[Note]] = [[] for _ in segments]
    for line in part.lines:
        index = 0
        for note in line.notes:
            while note.onset >= segments[index].to_position:
                index += 1
            found[index].append(note)
    return found


def _share(counts: Counter[Pitch], move: int, low: int, high: int) -> float:
    total = sum(counts.values())
    inside = sum(times for pitch, times in counts.items() if low <= pitch.semitone + move <= high)
    return inside / total if total else 1.0


def _octaves(counts: Counter[Pitch], move: int, low: int, high: int) -> int:
    """Octaves (−1, 0, +1) to read higher."""
    if _share(counts, move, low, high) >= 1 - _MOST_OUT:
        return 0
    for shift in (1, -1):
        if _share(counts, move + 12 * shift, low, high) >= _MOST_IN:
            return shift
    return 0


def _outside(
    part: Part,
    segment: Segment,
    notes: list[Note],
    counts: Counter[Pitch],
    instrument: Ranged,
    *,
    bass: bool,
) -> list[Finding]:
    move = segment.read.chromatic
    below = {pitch for pitch in counts if pitch.semitone + move < instrument.low.semitone}
    above = {pitch for pitch in counts if pitch.semitone + move > instrument.high.semitone}
    findings = []
    for code, out, bound in (("below-range", below, instrument.low), ("above-range", above, instrument.high)):
        if not out:
            continue
        times = sum(counts[pitch] for pitch in out)
        side = code.removesuffix("-range")
        first = min((note for note in notes if note.pitch in out), key=lambda note: note.onset)
        old = bass and side == "below"
        clef = "; old bass-clef notation is read an octave higher" if old else ""
        findings.append(
            Finding(
                code,
                f"{times} note{'s lie' if times > 1 else ' lies'} {side} the range of the {instrument.name} "
                f"({bound.name} written), the first in this measure{clef}",
                part.id,
                part.measure_number(first.measure),
            )
        )
    return findings
