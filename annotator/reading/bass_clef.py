"""Where a part stands in the bass clef: segments cut there and joined again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from annotator.reading.model import Segment
from annotator.score.model import Part


def cut_at_bass_clefs(part: Part, segments: tuple[Segment, ...]) -> Iterator[tuple[Segment, bool]]:
    """The segments cut where the bass clef begins and ends, and whether each piece stands in it."""
    staff = part.lines[0].staff if part.lines else 1
    clefs = [clef for clef in part.clefs if clef.staff == staff]
    if not any(clef.sign == "F" for clef in clefs):
        yield from ((segment, False) for segment in segments)
        return
    for segment in segments:
        start, index = segment.from_position, segment.from_measure_index
        before = [clef for clef in clefs if clef.position <= start]
        bass = bool(before) and before[-1].sign == "F"
        for clef in clefs:
            turns = (clef.sign == "F") != bass
            if turns and start < clef.position < segment.to_position:
                yield _piece(part, segment, start, index, end=clef.position, after=clef.measure), bass
                start, index, bass = clef.position, clef.measure, not bass
        yield (
            _piece(part, segment, start, index, end=segment.to_position, after=segment.to_measure_index + 1),
            bass,
        )


def _piece(part: Part, segment: Segment, start: float, first: int, *, end: float, after: int) -> Segment:
    # A clef in mid-measure: the piece before it ends in that same measure.
    last = after - 1 if after >= len(part.measures) or part.measures[after].start >= end else after
    return replace(
        segment,
        from_position=start,
        to_position=end,
        from_measure=part.measure_number(first),
        to_measure=part.measure_number(max(last, first)),
        from_measure_index=first,
        to_measure_index=max(last, first),
    )


def same_reading(one: Segment, other: Segment) -> bool:
    """True when two neighbouring pieces are read alike, for the same reason."""
    return (one.crook, one.read, one.grounds, one.family) == (
        other.crook,
        other.read,
        other.grounds,
        other.family,
    )


def joined(one: Segment, other: Segment) -> Segment:
    """Two neighbouring pieces as one segment."""
    return replace(
        one,
        to_position=other.to_position,
        to_measure=other.to_measure,
        to_measure_index=other.to_measure_index,
    )
