"""What the engraver drew of a system, read from its SVG: where the staves, the signs and the words are.

Lengths are hundredths of a millimetre, y grows downwards.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise
from typing import Any

from lxml import etree

from annotator.engraving.figures import UNSEEN
from annotator.engraving.glyphs import glyph_box
from annotator.engraving.lettering import settle
from annotator.engraving.skyline import Box, union
from annotator.errors import UnreadableScore

SVG = "{http://www.w3.org/2000/svg}"
HREF = "{http://www.w3.org/1999/xlink}href"
G = f"{SVG}g"
# What is moved over the figures, or under them; everything else stays where the engraver put it.
ABOVE = frozenset(("tempo", "dir", "reh", "voltaBracket", "repeatMark"))
BELOW = frozenset(("dynam", "hairpin", "dir"))
# Points along a curve, and along the slope of a beam.
_CURVE_STEPS = 16
_SLOPE_STEP = 60.0
# No sheet is that large: the engraver has lost its sums.
FARTHEST = 1_000_000.0


class LostSums(UnreadableScore):
    """The engraver wrote numbers that cannot be."""


@dataclass(slots=True)
class Piece:
    """Something that moves as one. ``staff`` counts from the top of the system."""

    element: Any
    kind: str
    staff: int
    box: Box
    dx: float = 0.0
    dy: float = 0.0

    @property
    def now(self) -> Box:
        return self.box.moved(self.dx, self.dy)

    def shrink(self, share: float) -> None:
        """Set it smaller, from its lower left corner."""
        x, y = self.box.left, self.box.bottom
        self.element.set(
            "transform", f"translate({x * (1 - share):.0f} {y * (1 - share):.0f}) scale({share:.4f})"
        )
        width, height = self.box.right - x, y - self.box.top
        self.box = Box(x, y - height * share, x + width * share, y)


@dataclass(slots=True)
class Tuplet:
    """The number of a tuplet, and its bracket if it has one. ``staff`` counts from the top."""

    number: Any
    box: Box
    staff: int
    notes: Box
    bracket: Any = None


@dataclass(slots=True)
class Ink:
    """A system. ``lines``: the y of the top and the bottom line of each staff. ``fixed``: for each staff the
    boxes of what stays. ``notes``: the ids of the notes with any ink; ``heads``: the box of each notehead by
    its note's id, and its staff."""

    system: Any
    lines: list[tuple[float, float]]
    right: float
    fixed: list[list[Box]]
    pieces: list[Piece] = field(default_factory=list)
    heads: dict[str, tuple[Box, int]] = field(default_factory=dict)
    notes: set[str] = field(default_factory=set)
    tuplets: list[Tuplet] = field(default_factory=list)
    staff_groups: list[tuple[Any, int]] = field(default_factory=list)
    vertical: list[Any] = field(default_factory=list)
    measures: list[tuple[int, Box]] = field(default_factory=list)

    def staff_at(self, y: float) -> int:
        """The staff nearest to a height."""
        return min(
            range(len(self.lines)),
            key=lambda index: abs(y - (self.lines[index][0] + self.lines[index][1]) / 2),
        )


def read_ink(system: Any, staff_of: Mapping[str, int]) -> Ink:
    """The ink of a system's group. ``staff_of``: the staff (from 0) of each sign that hangs on a measure, by
    its id; what is not in it belongs to the nearest. Raises LostSums."""
    for group in [group for group in system.iter(G) if _unseen(group)]:
        group.getparent().remove(group)
    ink = _staves(system)
    for child in system:
        classes = _classes(child)
        if "measure" in classes:
            _measure(ink, child, staff_of)
        elif child.tag == f"{SVG}path":
            ink.vertical.append(child)
        else:
            _control(ink, child, classes, staff_of)
    return ink


def _unseen(group: Any) -> bool:
    """What the engraver draws and we do not: hidden things, its measure numbers, lyrics that make room."""
    classes = _classes(group)
    if "placeholder" in classes or "mNum" in classes:
        return True
    return "verse" in classes and (group.findtext(f"{SVG}title") or "").startswith(UNSEEN)


def _staves(system: Any) -> Ink:
    lines: list[tuple[float, float]] = []
    right = 0.0
    for measure in system.iterchildren(G):
        staves = [child for child in measure.iterchildren(G) if "staff" in _classes(child)]
        found = []
        for staff in staves:
            ends = [_ends(path) for path in staff.iterchildren(f"{SVG}path")]
            if not ends:
                continue
            found.append((min(end[1] for end in ends), max(end[1] for end in ends)))
            right = max(right, *(end[2] for end in ends))
        if len(found) > len(lines):
            lines = found
    if not lines:
        lines = [(0.0, 700.0)]
    return Ink(system, lines, right, [[] for _ in lines])


def _ends(path: Any) -> tuple[float, float, float, float]:
    numbers = _numbers(path.get("d", ""))
    return numbers[0], numbers[1], numbers[2], numbers[3]


def _measure(ink: Ink, measure: Any, staff_of: Mapping[str, int]) -> None:
    staff = 0
    boxes: list[Box] = []
    for child in list(measure):
        classes = _classes(child)
        if "staff" in classes:
            index = min(staff, len(ink.lines) - 1)
            ink.staff_groups.append((child, index))
            content = list(_staff(ink, child, index))
            ink.fixed[index].extend(content)
            boxes.extend(_lines_box(child))
            staff += 1
        elif "barLine" in classes:
            ink.vertical.extend(child)
        else:
            _control(ink, child, classes, staff_of)
    name = measure.get("id", "")
    if boxes and name.startswith("m") and name[1:].isdigit():
        ink.measures.append((int(name[1:]), union(boxes)))


def _lines_box(staff: Any) -> Iterator[Box]:
    for path in staff.iterchildren(f"{SVG}path"):
        left, top, right, bottom = _ends(path)
        yield Box(left, top, right, bottom)


def _staff(ink: Ink, staff: Any, index: int) -> Iterator[Box]:
    for child in staff:
        if child.tag == G:
            yield from _content(ink, child, index)


def _content(ink: Ink, group: Any, index: int) -> Iterator[Box]:
    """The boxes of what is in a group of a staff; notes and tuplets are remembered on the way."""
    classes = _classes(group)
    if "tuplet" in classes:
        yield from _tuplet(ink, group, index)
        return
    if "note" in classes and group.get("id"):
        head = [
            box for part in group.iterchildren(G) if "notehead" in _classes(part) for box in boxes_of(part)
        ]
        if head:
            ink.heads[group.get("id")] = (union(head), index)
    inked = False
    for child in list(group):
        for box in _content(ink, child, index) if child.tag == G else boxes_of(child):
            inked = True
            yield box
    if inked and "note" in classes:
        ink.notes.add(group.get("id", ""))


def _tuplet(ink: Ink, group: Any, index: int) -> Iterator[Box]:
    numbers = [child for child in group.iterchildren(G) if "tupletNum" in _classes(child)]
    brackets = [child for child in group.iterchildren(G) if "tupletBracket" in _classes(child)]
    inside: list[Box] = []
    for child in group:
        if child.tag == G and child not in numbers and child not in brackets:
            inside.extend(_content(ink, child, index))
    yield from inside
    for number in numbers:
        boxes = list(boxes_of(number))
        if boxes and inside:
            bracket = brackets[0] if brackets else None
            ink.tuplets.append(Tuplet(number, union(boxes), index, union(inside), bracket))
    if not numbers:
        for bracket in brackets:
            yield from boxes_of(bracket)


def _control(ink: Ink, group: Any, classes: list[str], staff_of: Mapping[str, int]) -> None:
    if group.tag != G:
        return
    boxes = list(boxes_of(group))
    if not boxes:
        return
    box = union(boxes)
    names = [group.get("id", ""), *(name[3:] for name in classes if name.startswith("id-"))]
    known = next((staff_of[name] for name in names if name in staff_of), None)
    staff = ink.staff_at((box.top + box.bottom) / 2) if known is None else known
    staff = min(staff, len(ink.lines) - 1)
    if "systemMilestone" in classes:
        for child in group.iterchildren(G):
            _control(ink, child, _classes(child), staff_of)
        return
    above = box.bottom <= (ink.lines[staff][0] + ink.lines[staff][1]) / 2
    for kind in classes:
        if (above and kind in ABOVE) or (not above and kind in BELOW):
            ink.pieces.append(Piece(group, kind, staff, box))
            return
    ink.fixed[staff].extend(boxes)
    ink.staff_groups.append((group, staff))


def boxes_of(element: Any) -> Iterator[Box]:
    """The boxes of all that is drawn in an element. Words in it are settled (see ``lettering``) on the way.

    Raises LostSums.
    """
    for box in _boxes(element):
        # Written so that what is no number fails too.
        across = -FARTHEST < box.left <= box.right < FARTHEST
        if not (across and -FARTHEST < box.top <= box.bottom < FARTHEST):
            raise LostSums("the engraver has lost its sums")
        yield box


def _boxes(element: Any) -> Iterator[Box]:
    kind = element.tag
    if kind == G:
        for child in list(element):
            if isinstance(child.tag, str):
                yield from _boxes(child)
    elif kind == f"{SVG}use":
        x, y, scale = _placed(element.get("transform", ""))
        left, bottom, wide, high = glyph_box(element.get(HREF, "#")[1:].split("-")[0])
        if wide:
            yield Box(
                x + left * scale, y - (bottom + high) * scale, x + (left + wide) * scale, y - bottom * scale
            )
    elif kind == f"{SVG}path":
        if "transform" not in element.attrib:
            yield from _path(element)
    elif kind in (f"{SVG}polygon", f"{SVG}polyline"):
        yield from _points(_pairs(_numbers(element.get("points", ""))))
    elif kind == f"{SVG}rect":
        x, y, wide, high = (float(element.get(name, 0)) for name in ("x", "y", "width", "height"))
        yield Box(x, y, x + wide, y + high)
    elif kind == f"{SVG}ellipse":
        x, y, rx, ry = (float(element.get(name, 0)) for name in ("cx", "cy", "rx", "ry"))
        yield Box(x - rx, y - ry, x + rx, y + ry)
    elif kind == f"{SVG}text":
        box = settle(element)
        if box is not None:
            yield box


def _path(path: Any) -> Iterator[Box]:
    outline = path.get("d", "")
    half = float(path.get("stroke-width", 0)) / 2
    points = _pairs(_numbers(outline))
    if "C" not in outline:
        for box in _points(points):
            yield Box(box.left - half, box.top - half, box.right + half, box.bottom + half)
        return
    for start in range(0, len(points) - 3, 3):
        yield from _points(_curve(points[start : start + 4]))


def _curve(corners: list[tuple[float, float]]) -> list[tuple[float, float]]:
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = corners
    found = []
    for a, b, c, d in _bernstein():
        found.append((a * x0 + b * x1 + c * x2 + d * x3, a * y0 + b * y1 + c * y2 + d * y3))
    return found


@cache
def _bernstein() -> list[tuple[float, float, float, float]]:
    shares = [step / _CURVE_STEPS for step in range(_CURVE_STEPS + 1)]
    return [((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3) for t in shares]


def _points(points: list[tuple[float, float]]) -> Iterator[Box]:
    """Boxes along the lines between points, short ones where they slope."""
    for (x0, y0), (x1, y1) in pairwise(points):
        count = 1 if x0 == x1 or y0 == y1 else max(1, int(min(abs(x1 - x0), FARTHEST) // _SLOPE_STEP))
        for step in range(count):
            ax, bx = x0 + (x1 - x0) * step / count, x0 + (x1 - x0) * (step + 1) / count
            ay, by = y0 + (y1 - y0) * step / count, y0 + (y1 - y0) * (step + 1) / count
            yield Box(min(ax, bx), min(ay, by), max(ax, bx), max(ay, by))


def _placed(transform: str) -> tuple[float, float, float]:
    numbers = _numbers(transform)
    return numbers[0], numbers[1], numbers[2] if len(numbers) > 2 else 1.0


def _pairs(numbers: list[float]) -> list[tuple[float, float]]:
    return list(zip(numbers[::2], numbers[1::2], strict=False))


_LETTERS = str.maketrans(dict.fromkeys("MLHVCZmlhvcz,()translatescale", " "))


def _numbers(text: str) -> list[float]:
    """The numbers of an outline, a list of points or a place (``translate(x, y) scale(s, s)``)."""
    try:
        return [float(number) for number in text.translate(_LETTERS).split()]
    except ValueError:
        raise LostSums("the engraver has lost its sums") from None


def _classes(element: Any) -> list[str]:
    return (element.get("class") or "").split() if isinstance(element.tag, str) else []


def shifted(ink: Ink, shifts: list[float]) -> None:
    """Move each staff, and all that is its own, down by its shift; what joins staves is drawn longer."""
    for group, staff in ink.staff_groups:
        if shifts[staff]:
            move(group, 0.0, shifts[staff])
    for element in ink.vertical:
        if element.tag == f"{SVG}path":
            x0, y0, x1, y1 = _ends(element)
            y0, y1 = (y + shifts[_line_staff(ink, y)] for y in (y0, y1))
            element.set("d", f"M{x0:.0f} {y0:.0f} L{x1:.0f} {y1:.0f}")
        else:
            box = next(boxes_of(element), None)
            if box is not None and (dy := shifts[_line_staff(ink, (box.top + box.bottom) / 2)]):
                move(element, 0.0, dy)


def _line_staff(ink: Ink, y: float) -> int:
    return ink.staff_at(y)


def move(element: Any, dx: float, dy: float) -> None:
    """Move an element, on top of what its ``transform`` says already."""
    if dx or dy:
        before = element.get("transform", "")
        element.set("transform", f"translate({dx:.0f} {dy:.0f}) {before}".strip())


def parse_page(svg: str) -> Any:
    """The root of an SVG document."""
    return etree.fromstring(svg.encode(), etree.XMLParser(huge_tree=True))
