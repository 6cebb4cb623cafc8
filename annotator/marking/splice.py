"""Marks spliced into a score's text, each between the two signs by which it is known to be ours."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from annotator.score.ours import END, begin, without_signs


class Insertion(NamedTuple):
    """What goes into a text at ``place`` (in characters): XML for a mark of a ``kind`` (``Options.mark``)."""

    place: int
    kind: str
    content: str


def splice(text: str, insertions: Iterable[Insertion]) -> str:
    """``text`` with each insertion put in; at one place in the order given."""
    pieces: list[str] = []
    done = 0
    for place, kind, content in sorted(insertions, key=_place):
        # A stray sign in what was copied would be taken for the beginning or the end of this.
        pieces += (text[done:place], begin(kind), without_signs(content), END)
        done = place
    pieces.append(text[done:])
    return "".join(pieces)


def _place(insertion: Insertion) -> int:
    return insertion.place
