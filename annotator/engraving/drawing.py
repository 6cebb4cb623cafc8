"""Words in an SVG, the same way on every sheet. Lengths are hundredths of a millimetre."""

from __future__ import annotations

import re
from xml.sax.saxutils import escape

# In the PDF the first of these is always there (it comes with the typesetter); a browser takes the next.
FACE = "Libertinus Serif, 'Times New Roman', Times, serif"
# Mean width of a letter of the text face, as a share of its size: only used to fit and to break lines.
LETTER = 0.44
BOLDER = 1.15
SMALLEST = 180.0
_SIGNS = re.compile("[♭♮♯]")


def words(
    x: float,
    y: float,
    size: float,
    text: str,
    *,
    anchor: str = "start",
    weight: str = "",
    style: str = "",
    room: float = 0.0,
) -> str:
    """A line of text at its baseline; made smaller where it would be longer than ``room`` (0: as it is)."""
    if room:
        size = fitted(text, size, room / BOLDER if weight else room)
    extra = f' font-style="{style}"' if style else ""
    if weight and _SIGNS.search(text):
        # The bold face has no accidentals, and one letter missing costs the whole line its face.
        extra += f' stroke="currentColor" stroke-width="{size * 0.03:.0f}"'
    elif weight:
        extra += f' font-weight="{weight}"'
    return (
        f'<text x="{x:.0f}" y="{y:.0f}" font-size="{size:.0f}" text-anchor="{anchor}"{extra}>'
        f"{escape(text)}</text>"
    )


def fitted(text: str, size: float, room: float) -> float:
    """The largest size up to ``size`` at which ``text`` fits into ``room``."""
    width = len(text) * LETTER * size
    return size if width <= room else max(size * room / width, SMALLEST)


def signs(name: str) -> str:
    """A pitch name as printed: ``F♯4`` for ``F#4``, ``B♭3`` for ``Bb3``."""
    return name.replace("#", "♯").replace("b", "♭")
