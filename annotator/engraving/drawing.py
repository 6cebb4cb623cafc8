"""Words in an SVG, the same way on every sheet. Lengths are hundredths of a millimetre."""

from __future__ import annotations

import re
from xml.sax.saxutils import escape

from annotator.engraving import faces

# In the PDF the first of these is always there (it comes with the typesetter); a browser takes the next.
FACE = "Libertinus Serif, 'Times New Roman', Times, serif"
SMALLEST = 180.0
# The text face has poor ones, and none at all in bold and italic, where one letter missing costs the whole
# line its face: they are set on their own, in the other face that the typesetter carries.
SIGN_FACE = "New Computer Modern Math, 'Times New Roman', Times, serif"
ACCIDENTALS = re.compile("([♭♮♯]+)")


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
    face = faces.face(bold=weight == "bold", italic=style == "italic")
    if room:
        size = fitted(text, size, room, face)
    plain = f' font-size="{size:.0f}"'
    extra = f'{plain} font-weight="{weight}"' if weight else plain
    extra += f' font-style="{style}"' if style else ""
    pieces = [piece for piece in ACCIDENTALS.split(text) if piece]
    if len(pieces) == 1 and not ACCIDENTALS.fullmatch(text):
        return _line(x, y, text, anchor, extra)
    lean = size * (0.12 if style == "italic" else 0.03)
    left = x - faces.width(text, size, face) * {"middle": 0.5, "end": 1.0}.get(anchor, 0.0)
    found = []
    for index, piece in enumerate(pieces):
        width = faces.width(piece, size, face)
        if ACCIDENTALS.fullmatch(piece):
            left += lean if index else 0.0
            found.append(_line(left, y, piece, "start", f'{plain} font-family="{SIGN_FACE}"'))
        elif index + 1 < len(pieces):
            # Ends where the sign begins, whichever face it is seen in.
            found.append(_line(left + width, y, piece, "end", extra))
        else:
            found.append(_line(left, y, piece, "start", extra))
        left += width
    return f"<g>{''.join(found)}</g>"


def _line(x: float, y: float, text: str, anchor: str, extra: str) -> str:
    place = f'x="{x:.0f}" y="{y:.0f}" text-anchor="{anchor}" xml:space="preserve"'
    return f"<text {place}{extra}>{escape(text)}</text>"


def fitted(text: str, size: float, room: float, face: str = faces.REGULAR) -> float:
    """The largest size up to ``size`` at which ``text`` fits into ``room``."""
    width = faces.width(text, size, face)
    return size if width <= room else max(size * room / width, min(SMALLEST, size))


def signs(name: str) -> str:
    """A pitch name as printed: ``F♯4`` for ``F#4``, ``B♭3`` for ``Bb3``."""
    return name.replace("#", "♯").replace("b", "♭")
