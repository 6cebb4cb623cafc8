"""The table of letters against the fonts themselves, read with fontTools.

Sources: Libertinus Serif (SIL OFL 1.1) and New Computer Modern Math (GUST licence), out of the typesetter's
library; the metrics of a Times that the engraver carries (verovio, data/text).
"""

from __future__ import annotations

from pathlib import Path

import pytest
import verovio
from lxml import etree

from annotator.engraving import faces
from tests.unit.sheet_ink import letter

CARRIED = {
    faces.REGULAR: ("Libertinus Serif Regular", "Times"),
    faces.BOLD: ("Libertinus Serif Bold", "Times-bold"),
    faces.ITALIC: ("Libertinus Serif Italic", "Times-italic"),
    faces.BOLD_ITALIC: ("Libertinus Serif Bold Italic", "Times-bold-italic"),
}
LETTERS = "".join(map(chr, [*range(0x21, 0x7F), *range(0xC0, 0x100)])) + "–—’“”…×−šžŁőЖя"


def times(name: str) -> dict[str, float]:
    root = etree.parse(str(Path(verovio.__file__).parent / "data" / "text" / f"{name}.xml")).getroot()
    em = float(root.get("units-per-em", "1"))
    # Only ASCII is named by its code point there.
    found = {}
    for glyph in root:
        code = int(glyph.get("c", "0"), 16)
        if code < 0x80:
            wide = float(glyph.get("x", "0")) + float(glyph.get("w", "0"))
            found[chr(code)] = float(glyph.get("h-a-x") or wide) / em
    return found


@pytest.mark.parametrize("face", faces.FACES)
def test_a_letter_is_as_wide_and_high_as_in_the_wider_font(face: str) -> None:
    libertinus, other = CARRIED[face]
    metrics = times(other)
    for character in LETTERS:
        advance, bounds = letter(libertinus, character)
        assert bounds is not None, character
        assert (
            faces.width(character, 1000, face)
            == pytest.approx(max(advance, metrics.get(character, 0.0)) * 1000, abs=1.0)
            or ord(character) > 0x7F
        )
        assert faces.width(character, 1000, face) >= advance * 1000 - 1
        assert faces.rise(character, 1000, face) >= bounds[3] * 1000 - 1
        assert faces.fall(character, 1000, face) >= -bounds[1] * 1000 - 1


@pytest.mark.parametrize("sign", "♭♮♯")
def test_accidentals_are_measured_in_their_own_face(sign: str) -> None:
    advance, bounds = letter("NewComputerModernMath-Regular", sign)
    assert bounds is not None
    assert faces.width(sign, 1000) == pytest.approx(advance * 1000, abs=1)
    assert faces.rise(sign, 1000) == pytest.approx(bounds[3] * 1000, abs=1)
