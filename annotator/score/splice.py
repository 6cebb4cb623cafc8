"""Marks spliced into a score's text, and taken out again.

Every insertion stands between two processing instructions, which all readers of XML ignore; taking
out what is between them gives the original text back, character for character.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from operator import itemgetter

BEGIN = "<?crookline begin?>"
END = "<?crookline end?>"

_OURS = re.compile(re.escape(BEGIN) + ".*?" + re.escape(END), re.DOTALL)


def splice(text: str, insertions: Iterable[tuple[int, str]]) -> str:
    """``text`` with each ``(place, content)`` put in; at one place in the order given."""
    pieces: list[str] = []
    done = 0
    for place, content in sorted(insertions, key=itemgetter(0)):
        pieces += (text[done:place], BEGIN, content, END)
        done = place
    pieces.append(text[done:])
    return "".join(pieces)


def without_marks(text: str) -> str:
    """``text`` as it was before any ``splice``."""
    return _OURS.sub("", text) if BEGIN in text else text
