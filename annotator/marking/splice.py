"""Marks spliced into a score's text, each between the two signs by which it is known to be ours."""

from __future__ import annotations

from collections.abc import Iterable
from operator import itemgetter

from annotator.score.ours import BEGIN, END


def splice(text: str, insertions: Iterable[tuple[int, str]]) -> str:
    """``text`` with each ``(place, content)`` put in; at one place in the order given."""
    pieces: list[str] = []
    done = 0
    for place, content in sorted(insertions, key=itemgetter(0)):
        pieces += (text[done:place], BEGIN, content, END)
        done = place
    pieces.append(text[done:])
    return "".join(pieces)
