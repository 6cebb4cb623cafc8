"""Names as they are printed: signs among the letters, names for show, the texts of the first page."""

from __future__ import annotations

from collections.abc import Iterator

from lxml import etree

from annotator.score.numbers import LONGEST_TEXT, text_of

# The last word of a SMuFL glyph's name (accidentalFlat, csymAccidentalFlat), and MusicXML's own values.
_SIGNS = {"flat": "♭", "natural": "♮", "sharp": "♯"}


def sign_of(glyph: str) -> str:
    """♭ ♮ ♯ for a SMuFL glyph's or an accidental's name ("accidentalFlat", "flat"), ``""`` for all others."""
    name = glyph.rpartition("ccidental")[2].removesuffix("Small").lower()
    return _SIGNS.get(name, "")


def printed_name(element: etree._Element | None) -> str:
    """The text of a ``part-name-display``: its ``display-text`` and ``accidental-text`` in a row."""
    pieces = [
        sign_of(text_of(piece)) if piece.tag == "accidental-text" else piece.text or ""
        for piece in (() if element is None else element)
    ]
    return " ".join("".join(pieces).split())[:LONGEST_TEXT]


def credit_texts(root: etree._Element) -> Iterator[str]:
    """The words of the credits, a sign that follows them in a ``credit-symbol`` with them."""
    for credit in root.iterchildren("credit"):
        text = ""
        for piece in credit:
            if piece.tag == "credit-symbol":
                text += sign_of(text_of(piece))
            elif piece.tag == "credit-words":
                if text:
                    yield text[:LONGEST_TEXT]
                text = text_of(piece)
        if text:
            yield text[:LONGEST_TEXT]
