"""Music signs as outlines, so that they need no font: neither in the PDF nor in a browser."""

from __future__ import annotations

import re
from functools import cache
from importlib import util
from pathlib import Path

from lxml import etree

# SMuFL keeps its signs here (Unicode's private use area).
SIGN = re.compile("[\ue000-\uf8ff]")
# A music font's unit is a thousandth of an em (SMuFL 1.4; the engraver's fonts have 1000 units to it).
EM = 1000


@cache
def outline(code: str) -> str:
    """The outline of a sign (``E050``), from the font that the engraver carries (Leipzig, SIL OFL 1.1)."""
    source = _font() / "Leipzig" / f"{code}.xml"
    if not source.exists():
        return ""
    return etree.parse(str(source)).getroot().get("d") or next(
        (path.get("d", "") for path in etree.parse(str(source)).getroot().iter("{*}path")), ""
    )


@cache
def _boxes() -> dict[str, tuple[float, float, float, float]]:
    found = {}
    for glyph in etree.parse(str(_font() / "Leipzig.xml")).getroot().iterfind("g"):
        x, y, width, height = (float(glyph.get(name, "0")) for name in ("x", "y", "w", "h"))
        found[glyph.get("c", "")] = (x, y, width, height)
    return found


def glyph_box(code: str) -> tuple[float, float, float, float]:
    """The box of a sign in units of the font, y upwards: left, bottom, width, height; zeros for none."""
    return _boxes().get(code, (0.0, 0.0, 0.0, 0.0))


def sign(code: str, x: float, y: float, scale: float) -> str:
    """A sign drawn with its origin at x, y; ``scale`` from the font's units to the drawing's."""
    place = f"translate({x:.0f}, {y:.0f}) scale({scale:g} -{scale:g})"
    return f'<path transform="{place}" d="{outline(code)}"/>'


def _font() -> Path:
    engraver = util.find_spec("verovio")
    if engraver is None or engraver.origin is None:
        raise ModuleNotFoundError("verovio carries the music font; install it")
    return Path(engraver.origin).parent / "data"
