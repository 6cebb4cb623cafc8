"""The texts and numbers in a score, held to what music has.

A file may say anything: a staff number of three million, an octave of 5.0, a key of 10^21 sharps. What no
music has is not taken; who reads it says so in a finding.
"""

from __future__ import annotations

from math import isfinite
from typing import NamedTuple

from lxml import etree


class Held(NamedTuple):
    """The numbers, ``least`` to ``most``, that music has of something."""

    least: float
    most: float

    def has(self, value: float) -> bool:
        """Whether ``value`` is one of them."""
        return self.least <= value <= self.most


# MusicXML 4.0 sets the octaves; the others are our own choice, with room to spare over what scores have.
OCTAVES = Held(0, 9)
ALTERS = Held(-3, 3)
FIFTHS = Held(-14, 14)
STAVES = Held(1, 32)
DIVISIONS = Held(0.001, 1_000_000)
QUARTERS = Held(0, 10_000)
"""How long a note or a move is."""
BEATS = Held(1, 1024)
SEMITONES = Held(-60, 60)
"""Of a transposition."""
STEPS = Held(-35, 35)
TIMES = Held(1, 64)
"""How often a repeat is played."""
CLEF_LINES = Held(1, 9)
CLEF_OCTAVES = Held(-3, 3)

LONGEST_TEXT = 1000
"""Letters of a name or of words that are read; and of the report, which repeats some of them."""
LONGEST_NUMBER = 50
"""Letters of a measure's number."""
MOST_MEASURES = 100_000
MOST_NOTES = 400_000
MOST_PARTS = 256
MOST_LINES = 128
"""Players' lines of one part."""


def text_of(element: etree._Element | None) -> str:
    """An element's text with white space folded, or an empty string."""
    return "" if element is None or element.text is None else " ".join(element.text.split())


def number_of(element: etree._Element | None, default: float) -> float:
    """An element's text as a number; ``default`` when it is missing or none."""
    if element is None:
        return default
    try:
        value = float(element.text or "")
    except ValueError:
        return default
    return value if isfinite(value) else default


def whole(text: str, held: Held) -> int | None:
    """``text`` as a whole number (``5.0`` is one, as written by some programs), None when it is none or not
    among those ``held``."""
    try:
        value = float(text)
    except ValueError:
        return None
    return int(value) if held.has(value) and value == int(value) else None


def whole_of(element: etree._Element | None, default: int, held: Held) -> int:
    """An element's whole number; ``default`` when it is missing, or none of those ``held``."""
    if element is None:
        return default
    found = whole(element.text or "", held)
    return default if found is None else found
