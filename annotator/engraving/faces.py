"""How wide and high words are in the text face: measured letter by letter, never guessed from their number.

``faces.json`` holds, for each face and letter, the advance, the rise above the baseline and the fall below
it (thousandths of the size). It is the wider of the two faces a reader may see: Libertinus Serif (SIL OFL
1.1), which the typesetter carries for the PDF, and a Times, which browsers take and the engraver reckons by.
``tests/reference/test_faces.py`` reads both with fontTools and holds the table to them.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from importlib import resources

# What a letter of another script takes up: an em square.
_UNKNOWN = (1000, 880, -120)
Letters = Mapping[str, tuple[int, int, int]]
REGULAR, BOLD, ITALIC, BOLD_ITALIC = FACES = ("regular", "bold", "italic", "bold italic")


@cache
def _table() -> Mapping[str, Letters]:
    found: Mapping[str, Letters] = json.loads(
        resources.files("annotator.engraving").joinpath("faces.json").read_text(encoding="utf-8")
    )
    return found


def face(*, bold: bool = False, italic: bool = False) -> str:
    """The name of a face."""
    return FACES[bold + 2 * italic]


def width(words: str, size: float, of: str = REGULAR) -> float:
    """The width of a line of words, in the unit of ``size``."""
    letters = _table()[of]
    return sum(letters.get(letter, _UNKNOWN)[0] for letter in words) * size / 1000


def rise(words: str, size: float, of: str = REGULAR) -> float:
    """How far the words reach above their baseline."""
    letters = _table()[of]
    return max((letters.get(letter, _UNKNOWN)[1] for letter in words), default=0) * size / 1000


def fall(words: str, size: float, of: str = REGULAR) -> float:
    """How far the words reach below their baseline: 0 or more."""
    letters = _table()[of]
    return max(0.0, -min((letters.get(letter, _UNKNOWN)[2] for letter in words), default=0) * size / 1000)
