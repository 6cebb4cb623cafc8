"""The values that reading gives."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

from annotator.findings import Finding
from annotator.pitch import UNISON, Interval
from annotator.reading.crooks import Crook
from annotator.reading.inference import Inference


@dataclass(frozen=True, slots=True)
class Stage:
    """A crook in force from ``position`` (quarters) in measure index ``measure`` on.

    ``natural`` is the crook whose partials the player of a natural trumpet would use: the crook
    itself, except in a part that holds sounding pitches.
    """

    position: float
    measure: int
    crook: Crook
    evidence: str
    family: str = ""
    natural: Crook | None = None
    named: bool = True


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of a part under one crook.

    Positions in quarters from the start of the part, ``to_position`` of the last one infinite; measures,
    the last one included, as the file numbers them and as indices. ``sounding`` is the crook's
    (sounding − written), ``read`` what the player adds to each written note (crook − instrument,
    octaves moved where a finding says so), ``words`` the same in words. ``natural_crook`` is the crook
    whose natural partials the notes are counted by: the crook itself, except in a part that holds
    sounding pitches, where it is the one named or inferred. There ``old_part`` leads from the notes to how
    an old part would have been written for that crook; None elsewhere. ``family``: the
    instrument asked for (``trumpet``, ``piccolo``, ``cornet``, ``flugelhorn`` or ``""``).
    """

    from_position: float
    to_position: float
    from_measure: str
    to_measure: str
    from_measure_index: int
    to_measure_index: int
    crook: Crook
    evidence: str
    sounding: Interval
    read: Interval
    words: str
    natural_crook: Crook
    family: str = ""
    old_part: Interval | None = None

    @property
    def differs(self) -> bool:
        """True when what is read differs from what is written."""
        return self.read != UNISON


@dataclass(frozen=True, slots=True)
class Reading:
    """How to read a part: its segments in order, what was noticed, and what the notes tell.

    ``inference`` is there where the notes were asked: a part without crook, or ``infer``.
    """

    segments: tuple[Segment, ...]
    findings: tuple[Finding, ...] = ()
    inference: Inference | None = None

    @property
    def differs(self) -> bool:
        return any(segment.differs for segment in self.segments)

    def at(self, position: float) -> Segment:
        """The segment in force at a position (quarters)."""
        index = bisect_right(self.segments, position, key=lambda segment: segment.from_position)
        return self.segments[max(index - 1, 0)]
