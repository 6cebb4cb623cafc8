"""Fingerings that a part prints, in whatever spelling, as what they mean.

Programs and players write 1-2 as ``12``, ``1+2`` or ``1 2``, or as figures one above the other; an open
note as ``0``, ``o`` or ``open``. (Common practice, no source.)
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from lxml import etree

from annotator.score.numbers import text_of

OPEN = "0"
_OPEN = frozenset(("0", "o", "○", "open", "offen", "aperto", "ouvert", "à vide", "a vuoto"))
# One valve after another, with or without something between them.
_VALVES = re.compile(r"[1-4](?:\s*[-+/,.·&‐‑–—]?\s*[1-4])*")
_VALVE = re.compile(r"[1-4]")


def valves_of(text: str) -> str:
    """A fingering as the program writes it (``1-2``, open ``0``); ``text`` itself when it is none that valves
    have."""
    said = text.strip().casefold()
    if said in _OPEN:
        return OPEN
    if _VALVES.fullmatch(said):
        valves = _VALVE.findall(said)
        if len(set(valves)) == len(valves):
            return "-".join(sorted(valves))
    return text


def printed_on(technical: Iterable[etree._Element]) -> Iterator[str]:
    """The fingerings among the children of a ``<technical>``.

    Single valves one above the other are one fingering, unless the file says that one stands for another
    (``alternate``, ``substitution``).
    """
    together: list[str] = []
    for element in technical:
        if element.tag != "fingering":
            continue
        instead = "yes" in (element.get("alternate"), element.get("substitution"))
        valves = valves_of(text_of(element))
        if not instead and _VALVE.fullmatch(valves) and valves not in together:
            together.append(valves)
            continue
        if together:
            yield "-".join(sorted(together))
            together = []
        yield valves
    if together:
        yield "-".join(sorted(together))
