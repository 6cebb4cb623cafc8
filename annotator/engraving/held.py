"""Numbers that no music has, taken out of a copy before the engraver sees it: some of them end it."""

from __future__ import annotations

from typing import Any

from annotator.score.numbers import DIVISIONS, FIFTHS, STAVES, number_of, whole
from annotator.score.walk import time_of


def hold_numbers(part: Any) -> None:
    """Take staff numbers, numbers of staves, keys, time signatures and divisions that mean nothing out of a
    part (an element with measures)."""
    for element in list(part.iter("staff", "staves", "fifths", "time", "divisions")):
        if _holds(element):
            continue
        # A key of nothing is no key; the others are nothing by themselves.
        gone = element.getparent() if element.tag == "fifths" else element
        if gone is not None and gone.getparent() is not None:
            gone.getparent().remove(gone)


def _holds(element: Any) -> bool:
    if element.tag == "time":
        try:
            return time_of(element) is not None or element.find("senza-misura") is not None
        except ValueError:
            return False
    if element.tag == "divisions":
        return DIVISIONS.has(number_of(element, 0.0))
    return whole(element.text or "", FIFTHS if element.tag == "fifths" else STAVES) is not None
