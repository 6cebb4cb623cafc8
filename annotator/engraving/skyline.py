"""The outline of what is drawn above a line of music, or below it: where the next sign may stand."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

STEP = 20.0
"""Width of one step of an outline, in hundredths of a millimetre: a fifth of a thin figure."""


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle; y grows downwards."""

    left: float
    top: float
    right: float
    bottom: float

    def moved(self, dx: float, dy: float) -> Box:
        return Box(self.left + dx, self.top + dy, self.right + dx, self.bottom + dy)

    def meets(self, other: Box, margin: float = 0.0) -> bool:
        """Whether the two come nearer than ``margin``."""
        return (
            self.left < other.right + margin
            and other.left < self.right + margin
            and self.top < other.bottom + margin
            and other.top < self.bottom + margin
        )


def union(boxes: list[Box]) -> Box:
    """The smallest box round all of them."""
    return Box(
        min(box.left for box in boxes),
        min(box.top for box in boxes),
        max(box.right for box in boxes),
        max(box.bottom for box in boxes),
    )


class Skyline:
    """How far drawing reaches at each place from ``left`` on: up (smaller y) or down, at first ``level``."""

    def __init__(self, left: float, right: float, level: float, *, up: bool) -> None:
        self._left = left
        self._up = up
        self.heights = [level] * (ceil((right - left) / STEP) + 1)

    def add(self, box: Box, margin: float = 0.0) -> None:
        """Take in a box, with ``margin`` to its left and right."""
        start, end = self._span(box.left - margin, box.right + margin)
        heights = self.heights
        if self._up:
            for index in range(start, end):
                heights[index] = min(heights[index], box.top)
        else:
            for index in range(start, end):
                heights[index] = max(heights[index], box.bottom)

    def over(self, left: float, right: float) -> float:
        """The farthest reach between two places."""
        start, end = self._span(left, right)
        span = self.heights[start:end]
        return min(span) if self._up else max(span)

    def _span(self, left: float, right: float) -> tuple[int, int]:
        start = int((left - self._left) // STEP)
        end = int((right - self._left) // STEP) + 1
        last = len(self.heights)
        start = min(max(start, 0), last - 1)
        return start, max(min(end, last), start + 1)
