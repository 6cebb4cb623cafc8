"""Fingerings clear of slurs: what the engraver lets touch is moved over the slur, and words over that.

Works on the SVG of one system. Lengths are hundredths of a millimetre, y grows downwards.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

_CURVE = re.compile(r'class="(?:slur|tie|lv)[^"]*"[^>]*>\s*<path [^>]*?\bd="M([^"]*)"')
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
_TEXT = re.compile(
    r'(<g [^>]*class="(fing|dir|tempo|reh)\b[^>]*>\s*<text x="(-?[\d.]+)" y=")'
    r'(-?[\d.]+)("[^>]*>)(.*?)</text>',
    re.DOTALL,
)
_SIZE = re.compile(r'font-size="([\d.]+)px"')
_TAGS = re.compile(r"<[^>]*>")
STEPS = 24
MARGIN = 45.0
# Closer than this to a slur is touching it, to the eye.
NEAR = 32.0
# Figures are this wide and high, as shares of their size (a bold text face).
WIDTH, RISE = 0.52, 0.68


@dataclass(slots=True)
class _Box:
    """A text: its kind, where its ``y`` stands in the SVG, its extent, and how far it has been moved."""

    kind: str
    at: tuple[int, int]
    y: float
    left: float
    right: float
    height: float
    moved: float = 0.0

    @property
    def bottom(self) -> float:
        return self.y + self.moved

    @property
    def top(self) -> float:
        return self.bottom - self.height


def clear(system: str) -> str:
    """The system with its fingerings off the slurs and the words above them off the fingerings."""
    curves = [_points(match.group(1)) for match in _CURVE.finditer(system)]
    boxes = [_box(match) for match in _TEXT.finditer(system)]
    fingerings = [box for box in boxes if box.kind == "fing"]
    for box in fingerings:
        # Over one slur may be another: as often as there can be one more.
        for _ in range(3):
            if not _lift_over(box, curves):
                break
    lifted = [box for box in fingerings if box.moved]
    for words in sorted((box for box in boxes if box.kind != "fing"), key=lambda box: -box.y):
        for box in lifted:
            if words.left < box.right and box.left < words.right and _meet(words, box):
                words.moved = box.top - MARGIN - words.y
        if words.moved:
            lifted.append(words)
    return _rewritten(system, boxes)


def _lift_over(box: _Box, curves: Iterable[list[tuple[float, float]]]) -> bool:
    over = [
        y
        for curve in curves
        for x, y in curve
        if box.left - 20 <= x <= box.right + 20 and box.top - NEAR <= y <= box.bottom + NEAR
    ]
    if not over:
        return False
    box.moved = min(over) - MARGIN - box.y
    return True


def _meet(one: _Box, other: _Box) -> bool:
    return one.top < other.bottom and other.top < one.bottom + MARGIN / 2


def _box(match: re.Match[str]) -> _Box:
    kind, x, y, opening, inside = match.group(2), *match.group(3, 4, 5, 6)
    size = max((float(size) for size in _SIZE.findall(inside)), default=300.0)
    words = " ".join(_TAGS.sub("", inside).split())
    width = len(words) * WIDTH * size
    left = float(x) - (width / 2 if 'text-anchor="middle"' in opening else 0.0)
    return _Box(kind, match.span(4), float(y), left, left + width, RISE * size)


def _points(path: str) -> list[tuple[float, float]]:
    """Points along both edges of a curve, ``x,y C…`` as the engraver writes it."""
    numbers = [float(number) for number in _NUMBER.findall(path)]
    pairs = list(zip(numbers[::2], numbers[1::2], strict=False))
    found: list[tuple[float, float]] = []
    for start in range(0, len(pairs) - 3, 3):
        p0, p1, p2, p3 = pairs[start : start + 4]
        for step in range(STEPS + 1):
            t = step / STEPS
            a, b, c, d = (1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3
            x = a * p0[0] + b * p1[0] + c * p2[0] + d * p3[0]
            found.append((x, a * p0[1] + b * p1[1] + c * p2[1] + d * p3[1]))
    return found


def _rewritten(system: str, boxes: list[_Box]) -> str:
    parts = []
    last = 0
    for box in boxes:
        if box.moved:
            start, end = box.at
            parts += [system[last:start], f"{box.bottom:.0f}"]
            last = end
    return "".join([*parts, system[last:]])
