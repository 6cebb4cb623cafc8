"""Fingerings clear of slurs and of each other: what touches is raised, and the words over it.

Works on the SVG of one system. Lengths are hundredths of a millimetre, y grows downwards.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from annotator.engraving.drawing import LETTER

_CURVE = re.compile(r'class="(?:slur|tie|lv)[^"]*"[^>]*>\s*<path [^>]*?\bd="M([^"]*)"')
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
_WORDS = re.compile(r'<g (?=[^>]*class="(fing|dir|tempo|reh)\b)[^>]*()>(.*?)</g>', re.DOTALL)
_ORNAMENT = re.compile(
    r'class="(?:fermata|trill|mordent|turn)\b[^>]*>\s*<use [^>]*translate\((-?[\d.]+), (-?[\d.]+)\)'
)
_TEXT = re.compile(r'<text x="(-?[\d.]+)" y="(-?[\d.]+)"([^>]*)>')
_SIZE = re.compile(r'font-size="([1-9][\d.]*)(?:px)?"')
_TAGS = re.compile(r"<[^>]*>")
STEP = 40.0  # between two points of a curve: less than half a figure
MARGIN = 45.0
# Closer than this to a slur is touching it, to the eye.
NEAR = 32.0
# Two fingerings closer than this read as one.
BETWEEN = 60.0
# Figures are this wide and high, as shares of their size (a bold text face).
WIDTH, RISE = 0.52, 0.68


# What a fermata or a trill takes up, from its origin to the right and up.
ORNAMENT_WIDTH, ORNAMENT_HEIGHT = 420.0, 260.0


@dataclass(slots=True)
class _Box:
    """A text: its kind, where in the SVG its group can be told to move, its extent, how far it is moved."""

    kind: str
    at: int
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
    ornaments = [
        _Box("ornament", -1, float(y), float(x), float(x) + ORNAMENT_WIDTH, ORNAMENT_HEIGHT)
        for x, y in _ORNAMENT.findall(system)
    ]
    boxes = [_box(match) for match in _WORDS.finditer(system) if _TEXT.search(match.group(3))]
    fingerings = [box for box in boxes if box.kind == "fing"]
    # Over one slur may be another: as often as there can be one more.
    for _ in range(3):
        for box in fingerings:
            _lift_over(box, curves)
        _part(fingerings, ornaments)
    placed = list(fingerings)
    for words in sorted((box for box in boxes if box.kind != "fing"), key=lambda box: (-box.y, box.left)):
        for box in sorted(placed, key=lambda box: -box.bottom):
            if words.left < box.right and box.left < words.right and _meet(words, box):
                words.moved = box.top - 1.5 * MARGIN - words.y
        placed.append(words)
    return _rewritten(system, boxes)


def _lift_over(box: _Box, curves: Iterable[list[tuple[float, float]]]) -> None:
    over = [
        y
        for curve in curves
        for x, y in curve
        if box.left - 20 <= x <= box.right + 20 and box.top - NEAR <= y <= box.bottom + NEAR
    ]
    if over:
        box.moved = min(over) - MARGIN - box.y


def _part(fingerings: list[_Box], ornaments: list[_Box]) -> None:
    """Raise a fingering that would run into the one before it (``1-2-3`` over quick notes), and one that
    has been raised over a fermata or a trill in its way."""
    before: list[_Box] = []
    for box in sorted(fingerings, key=lambda box: box.left):
        before = [other for other in before if other.right + BETWEEN > box.left]
        in_way = [one for one in ornaments if box.moved and one.left < box.right and box.left < one.right]
        for other in sorted([*before, *in_way], key=lambda other: -other.bottom):
            if _meet(box, other):
                box.moved = other.top - BETWEEN / 2 - box.y
        before.append(box)


def _meet(one: _Box, other: _Box) -> bool:
    return one.top < other.bottom and other.top < one.bottom + MARGIN / 2


def _box(match: re.Match[str]) -> _Box:
    kind, inside = match.group(1, 3)
    size = max((float(size) for size in _SIZE.findall(inside)), default=300.0)
    left, right, base = float("inf"), 0.0, 0.0
    # A metronome mark is several texts with a note drawn between them.
    for text in re.split(r"(?=<text )", inside):
        place = _TEXT.match(text)
        if place is None:
            continue
        x, base = float(place.group(1)), float(place.group(2))
        letters = len(" ".join(_TAGS.sub("", text).split()))
        width = letters * (WIDTH if kind == "fing" else LETTER) * size
        share = {"middle": 0.5, "end": 1.0}.get(_anchor(place.group(3)), 0.0)
        left, right = min(left, x - width * share), max(right, x + width * (1 - share))
    return _Box(kind, match.start(2), base, left, right, RISE * size)


def _anchor(attributes: str) -> str:
    found = re.search(r'text-anchor="(\w+)"', attributes)
    return found.group(1) if found else "start"


def _points(path: str) -> list[tuple[float, float]]:
    """Points along both edges of a curve, ``x,y C…`` as the engraver writes it."""
    numbers = [float(number) for number in _NUMBER.findall(path)]
    pairs = list(zip(numbers[::2], numbers[1::2], strict=False))
    found: list[tuple[float, float]] = []
    for start in range(0, len(pairs) - 3, 3):
        p0, p1, p2, p3 = pairs[start : start + 4]
        steps = max(8, int(abs(p3[0] - p0[0]) / STEP))
        for step in range(steps + 1):
            t = step / steps
            a, b, c, d = (1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3
            x = a * p0[0] + b * p1[0] + c * p2[0] + d * p3[0]
            found.append((x, a * p0[1] + b * p1[1] + c * p2[1] + d * p3[1]))
    return found


def _rewritten(system: str, boxes: list[_Box]) -> str:
    parts = []
    last = 0
    for box in boxes:
        if box.moved:
            parts += [system[last : box.at], f' transform="translate(0 {box.moved:.0f})"']
            last = box.at
    return "".join([*parts, system[last:]])
