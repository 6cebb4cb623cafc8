"""The numbers of tuplets, kept out of the columns of figures, so that nobody reads "1 over 3"."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from annotator.engraving.figures import CLEAR
from annotator.engraving.ink import Tuplet, move
from annotator.engraving.skyline import Box, Skyline

# Free to both sides of a number, in all.
_AIR = 60.0


@dataclass(frozen=True, slots=True)
class Column:
    """A figure of a tuplet's note: its middle and width, whether it stands above. ``in_row``: it is one of a
    row under the staff."""

    middle: float
    width: float
    above: bool
    in_row: bool


def place_number(
    tuplet: Tuplet, columns: Sequence[Column], lines: tuple[float, float], sides: Mapping[bool, Skyline]
) -> None:
    """Put the number where no figure stands over or under it. ``sides``: the outlines above and below.

    A number without a bracket also leaves the side of the fingerings, where it would read as one of them.
    """
    box, bracket = tuplet.box, tuplet.bracket
    above = box.top + box.bottom < sum(lines)
    middle = (box.left + box.right) / 2
    side, at = above, middle
    fingered = {column.above for column in columns if not column.in_row}
    tried = [above] if bracket is not None else sorted((above, not above), key=fingered.__contains__)
    for upper in tried if columns else ():
        gaps = _gaps([column for column in columns if column.above is upper], tuplet)
        if gaps:
            side, at = upper, min(gaps, key=lambda gap: abs(gap - middle))
            break
    dx, dy = at - middle, 0.0
    if bracket is None and (abs(dx) > 1 or side is not above):
        level = sides[side].over(box.left + dx, box.right + dx)
        dy = level - CLEAR - box.bottom if side else level + CLEAR - box.top
    move(tuplet.number, dx, dy)
    drawn = [box.moved(dx, dy)]
    if bracket is not None:
        drawn += _with_gap_moved(bracket, dx)
    for outline in sides.values():
        for piece in drawn:
            outline.add(piece)


def _gaps(columns: Sequence[Column], tuplet: Tuplet) -> list[float]:
    """The middles of the places among a tuplet's notes where its number is free of the columns."""
    width = tuplet.box.right - tuplet.box.left + _AIR
    left, right = tuplet.notes.left, tuplet.notes.right
    middle = (left + right) / 2
    found = []
    at = left - width
    taken = sorted((column.middle - column.width / 2, column.middle + column.width / 2) for column in columns)
    for start, end in [*taken, (right + width, right + width)]:
        if start - at >= width:
            found.append(min(max(middle, at + width / 2), start - width / 2))
        at = max(at, end)
    return found


def _with_gap_moved(bracket: Any, dx: float) -> list[Box]:
    """The pieces of a bracket (each ends at the number), their ends moved with it."""
    found = []
    for element in bracket:
        points = [tuple(map(float, point.split(","))) for point in element.get("points", "").split()]
        if len(points) > 1:
            points[-1] = (points[-1][0] + dx, points[-1][1])
            element.set("points", " ".join(f"{x:.0f},{y:.0f}" for x, y in points))
            xs, ys = [x for x, _ in points], [y for _, y in points]
            found.append(Box(min(xs), min(ys), max(xs), max(ys)))
    return found
