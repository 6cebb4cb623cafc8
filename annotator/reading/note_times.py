"""When the notes of a part sound, and where its players rest long enough to change."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate

from annotator.score.model import SAME_PLACE, Part
from annotator.timing import Clock

_INFINITE = float("inf")


@dataclass(frozen=True, slots=True)
class Silence:
    """A rest from ``start`` to ``end`` (quarters) of ``seconds``; infinite before the first note and after
    the last."""

    start: float
    end: float
    seconds: float


class NoteTimes:
    """When the notes of a part sound, all its lines together. Grace notes are left out."""

    def __init__(self, part: Part, clock: Clock) -> None:
        self._part = part
        self._clock = clock

    @cached_property
    def _spans(self) -> list[tuple[float, float]]:
        # Only a part that changes its crook asks when notes sound.
        return sorted(
            (note.onset, note.onset + note.duration)
            for line in self._part.lines
            for note in line.notes
            if not note.grace
        )

    @cached_property
    def onsets(self) -> list[float]:
        """Where notes begin, in order."""
        return [onset for onset, _ in self._spans]

    @cached_property
    def ends(self) -> list[float]:
        """For each onset the latest end of all notes up to this one."""
        return list(accumulate((end for _, end in self._spans), max))

    def silent_between(self, one: float, other: float) -> bool:
        """True when no note begins from the earlier position up to, not including, the later one."""
        early, late = min(one, other), max(one, other)
        return bisect_left(self.onsets, early) == bisect_left(self.onsets, late)

    def before(self, position: float) -> float:
        """The end of what sounds or began before ``position``; minus infinity where nothing did."""
        index = bisect_left(self.onsets, position)
        return self.ends[index - 1] if index else -_INFINITE

    @property
    def last_end(self) -> float:
        """Where the last note ends; minus infinity where there is none."""
        return self.ends[-1] if self.ends else -_INFINITE

    def next_onset(self, position: float) -> float:
        """The first onset at or after ``position``; infinity where there is none."""
        index = bisect_left(self.onsets, position)
        return self.onsets[index] if index < len(self.onsets) else _INFINITE

    def around(self, position: float) -> Silence:
        """The silence between the last note begun before ``position`` and the next from there on; of 0
        seconds where there is none."""
        return self._silence(self.before(position), self.next_onset(position))

    @cached_property
    def _pauses(self) -> list[int]:
        """The numbers of the onsets after which all notes end before the next one begins."""
        following = (*self.onsets[1:], _INFINITE)
        return [
            index
            for index, (end, later) in enumerate(zip(self.ends, following, strict=True))
            if end < later - SAME_PLACE
        ]

    def silences(self, position: float) -> Iterator[Silence]:
        """The rests that end after ``position``, in order, that around it first."""
        if not self.onsets or self.onsets[0] > position:
            yield self._silence(-_INFINITE, self.next_onset(position))
        first = max(bisect_right(self.onsets, position) - 1, 0)
        for index in self._pauses[bisect_left(self._pauses, first) :]:
            following = self.onsets[index + 1] if index + 1 < len(self.onsets) else _INFINITE
            yield self._silence(self.ends[index], following)

    def _silence(self, start: float, end: float) -> Silence:
        if start == -_INFINITE or end == _INFINITE:
            return Silence(start, end, _INFINITE)
        return Silence(start, end, max(0.0, self._clock.seconds(end) - self._clock.seconds(start)))
