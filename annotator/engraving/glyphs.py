"""Music signs as outlines, so that they need no font: neither in the PDF nor in a browser."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from importlib import util
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from lxml import etree

from annotator.engraving.drawing import LETTER

# SMuFL keeps its signs here (Unicode's private use area).
SIGN = re.compile("[\ue000-\uf8ff]")
# A music font's unit is a thousandth of an em (SMuFL 1.4; the engraver's fonts have 1000 units to it).
EM = 1000
# An empty text closes itself: its end is not another text's.
_TEXT = re.compile(r"<text\b[^>]*(?<!/)>.*?</text>", re.DOTALL)
_BOLD = 1.08
# A word space before a sign, as a share of the size.
_SPACE = 0.25
# Beside letters a sign is set smaller than on a staff.
SIGN_SIZE = 0.7


@cache
def outline(code: str) -> str:
    """The outline of a sign (``E050``), from the font that the engraver carries (Leipzig, SIL OFL 1.1)."""
    engraver = util.find_spec("verovio")
    if engraver is None or engraver.origin is None:
        raise ModuleNotFoundError("verovio carries the music font; install it")
    source = Path(engraver.origin).parent / "data" / "Leipzig" / f"{code}.xml"
    if not source.exists():
        return ""
    found = re.search(r'\bd="([^"]+)"', source.read_text(encoding="utf-8"))
    return found.group(1) if found else ""


def sign(code: str, x: float, y: float, scale: float) -> str:
    """A sign drawn with its origin at x, y; ``scale`` from the font's units to the drawing's."""
    place = f"translate({x:.0f}, {y:.0f}) scale({scale:g} -{scale:g})"
    return f'<path transform="{place}" d="{outline(code)}"/>'


def draw_signs(svg: str) -> str:
    """Texts with music signs among their letters (a metronome mark), the signs drawn instead."""
    return _TEXT.sub(
        lambda match: _drawn(match.group(0)) if SIGN.search(match.group(0)) else match.group(0), svg
    )


def _drawn(text: str) -> str:
    element = etree.fromstring(text)
    x, y = float(element.get("x", 0)), float(element.get("y", 0))
    parts: list[str] = []
    pending = ""
    size = 0.0
    runs = list(_runs(element))
    for words, run_size in runs:
        if not SIGN.search(words):
            # The engraver joins words and figure without a space.
            gap = " " if words.startswith("(") and pending and not pending.endswith(" ") else ""
            pending += gap + words
            size = run_size
            continue
        if pending.strip():
            x += _width(pending, size)
            # Ends where the sign begins, whichever face it is set in.
            parts.append(_line(x, y, size, pending.rstrip(), "end"))
            if not pending.rstrip().endswith("("):
                x += _SPACE * size
        pending = ""
        scale = run_size / EM * SIGN_SIZE
        for character in SIGN.findall(words):
            parts.append(sign(f"{ord(character):04X}", x + 30, y - 10, scale))
            x += 0.36 * run_size * SIGN_SIZE + 60
    if pending.strip():
        parts.append(_line(x, y, size, pending.lstrip(), "start"))
    return "".join(parts)


def _runs(element: Any) -> Iterator[tuple[str, float]]:
    for span in element.iter("tspan"):
        words = re.sub(r"\s+", " ", span.text or "") if len(span) == 0 else ""
        if words.strip():
            yield words, float(span.get("font-size", "300px").removesuffix("px"))


def _width(words: str, size: float) -> float:
    return len(words) * LETTER * _BOLD * size


def _line(x: float, y: float, size: float, words: str, anchor: str) -> str:
    return (
        f'<text x="{x:.0f}" y="{y:.0f}" font-size="{size:.0f}" text-anchor="{anchor}">{escape(words)}</text>'
    )
