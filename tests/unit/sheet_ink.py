"""A sheet looked at from outside: where its words and curves are, transforms reckoned in.

The words are measured with fontTools in the fonts that the typesetter carries (Libertinus Serif, New Computer
Modern Math), by their glyphs' outlines, not with the tables the sheets are set by.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import typst
from fontTools.pens.boundsPen import BoundsPen
from fontTools.ttLib import TTFont, TTLibError
from lxml import etree

SVG = "{http://www.w3.org/2000/svg}"
_FACES = {
    (False, False): "Libertinus Serif Regular",
    (True, False): "Libertinus Serif Bold",
    (False, True): "Libertinus Serif Italic",
    (True, True): "Libertinus Serif Bold Italic",
}
_SIGNS = "NewComputerModernMath-Regular"
_MOVE = re.compile(r"(translate|scale)\(([^)]*)\)")

Transform = tuple[float, float, float]
"""Scale, then x and y added."""


@cache
def fonts() -> dict[str, TTFont]:
    """The OpenType fonts inside the typesetter's library, by their full names."""
    (library,) = Path(typst.__file__).parent.glob("*.so")
    data = library.read_bytes()
    found: dict[str, TTFont] = {}
    for match in re.finditer(b"OTTO", data):
        try:
            font = TTFont(io.BytesIO(data[match.start() : match.start() + 4_000_000]), lazy=True)
            found.setdefault(font["name"].getDebugName(4), font)
        except (TTLibError, KeyError, AssertionError, ValueError):
            continue
    return found


@cache
def _font(name: str) -> tuple[TTFont, dict[int, str], Any]:
    font = fonts()[name]
    return font, font.getBestCmap(), font.getGlyphSet()


@cache
def letter(name: str, character: str) -> tuple[float, tuple[float, float, float, float] | None]:
    """Advance and bounds (left, bottom, right, top) of a letter as shares of the size; None when blank."""
    font, names, glyphs = _font(name)
    em = font["head"].unitsPerEm
    glyph = names.get(ord(character))
    if glyph is None:
        return 0.5, None
    pen = BoundsPen(glyphs)
    glyphs[glyph].draw(pen)
    bounds = tuple(value / em for value in pen.bounds) if pen.bounds else None
    return font["hmtx"][glyph][0] / em, bounds


@dataclass(frozen=True)
class Words:
    """A text on a sheet: the classes of the groups it is in, and its ink's box."""

    text: str
    classes: tuple[str, ...]
    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: Words, tolerance: float) -> bool:
        return (
            self.left + tolerance < other.right
            and other.left + tolerance < self.right
            and self.top + tolerance < other.bottom
            and other.top + tolerance < self.bottom
        )


def walk(
    element: Any, at: Transform = (1.0, 0.0, 0.0), classes: tuple[str, ...] = ()
) -> Iterator[tuple[Any, Transform, tuple[str, ...]]]:
    """Every element with its transform and the classes round it."""
    if not isinstance(element.tag, str) or element.tag == f"{SVG}defs":
        return
    scale, dx, dy = at
    for kind, numbers in _MOVE.findall(element.get("transform") or ""):
        values = [float(number) for number in numbers.replace(",", " ").split()]
        if kind == "translate":
            dx, dy = dx + scale * values[0], dy + scale * (values[1] if len(values) > 1 else 0.0)
        else:
            scale *= values[0]
    classes = (*classes, *(element.get("class") or "").split())
    yield element, (scale, dx, dy), classes
    for child in element:
        yield from walk(child, (scale, dx, dy), classes)


def words_of(page: Any) -> list[Words]:
    """All texts of a page with the boxes of their glyphs."""
    found = []
    for element, (scale, dx, dy), classes in walk(page):
        if element.tag != f"{SVG}text":
            continue
        box = _box(element)
        if box is not None:
            left, top, right, bottom = box
            text = "".join(element.itertext())
            found.append(
                Words(
                    text,
                    classes,
                    left * scale + dx,
                    top * scale + dy,
                    right * scale + dx,
                    bottom * scale + dy,
                )
            )
    return found


def _box(element: Any) -> tuple[float, float, float, float] | None:
    runs = [(span, span.text or "") for span in list(element) or [element]]
    x, y = float(element.get("x")), float(element.get("y"))
    cursor = 0.0
    edges: list[tuple[float, float, float, float]] = []
    for holder, text in runs:
        style = [holder.get(name) or element.get(name) or "" for name in ("font-weight", "font-style")]
        family = holder.get("font-family") or element.get("font-family") or ""
        name = _SIGNS if "Math" in family else _FACES[style[0] == "bold", style[1] == "italic"]
        size = float(holder.get("font-size") or element.get("font-size"))
        for character in text:
            advance, bounds = letter(name, character)
            if bounds is not None:
                left, bottom, right, top = (value * size for value in bounds)
                edges.append((cursor + left, -top, cursor + right, -bottom))
            cursor += advance * size
    if not edges:
        return None
    start = x - cursor * {"middle": 0.5, "end": 1.0}.get(element.get("text-anchor", ""), 0.0)
    return (
        start + min(edge[0] for edge in edges),
        y + min(edge[1] for edge in edges),
        start + max(edge[2] for edge in edges),
        y + max(edge[3] for edge in edges),
    )


def curves_of(page: Any, *kinds: str) -> Iterator[list[tuple[float, float]]]:
    """Points along the edges of slurs and ties."""
    for element, (scale, dx, dy), classes in walk(page):
        if element.tag == f"{SVG}path" and any(kind in classes for kind in kinds):
            numbers = [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", element.get("d", ""))]
            corners = list(zip(numbers[::2], numbers[1::2], strict=True))
            points: list[tuple[float, float]] = []
            for start in range(0, len(corners) - 3, 3):
                points.extend(_along(corners[start : start + 4]))
            yield [(x * scale + dx, y * scale + dy) for x, y in points]


def _along(corners: list[tuple[float, float]]) -> Iterator[tuple[float, float]]:
    for step in range(41):
        share = step / 40
        level = corners
        while len(level) > 1:  # de Casteljau
            level = [(a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share) for a, b in pairwise(level)]
        yield level[0]


def coordinates(page: Any) -> Iterator[float]:
    """Every number that says where something is."""
    for element, _, _ in walk(page):
        for name in ("x", "y", "cx", "cy", "d", "points", "transform", "width", "height", "rx", "ry"):
            value = element.get(name)
            if value and element.tag != f"{SVG}svg":
                yield from map(float, re.findall(r"-?\d+(?:\.\d+)?(?:e[-+]?\d+)?", value))


def parsed(svg: str) -> Any:
    return etree.fromstring(svg.encode(), etree.XMLParser(huge_tree=True))
