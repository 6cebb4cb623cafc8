"""What a score's part list names, found without reading the score."""

from __future__ import annotations

import html
import re
from dataclasses import dataclass

from annotator.score.places import elements_only
from annotator.score.source import open_source

_ITEM = re.compile(r"<score-part(?=[\s>])([^>]*)>(.*?)</score-part\s*>", re.DOTALL)
_ID = re.compile(r"""\bid\s*=\s*(?:"([^"]*)"|'([^']*)')""")
_TEXTS = {
    tag: re.compile(rf"<{tag}(?=[\s>])[^>]*>([^<]*)</{tag}\s*>")
    for tag in ("part-name", "part-abbreviation", "instrument-sound")
}


@dataclass(frozen=True, slots=True)
class ListedPart:
    """A part's id, name, abbreviation and (first) instrument sound; "" for what is not there."""

    id: str
    name: str
    abbreviation: str
    sound: str


def listed_parts(data: bytes) -> tuple[ListedPart, ...]:
    """The parts that a .musicxml, .xml or .mxl file lists. Raises UnreadableScore."""
    text = open_source(data).text
    start = text.find("<part-list")
    end = text.find("</part-list", start)
    if start < 0 or end < 0:
        return ()
    found = []
    for item in _ITEM.finditer(elements_only(text[start:end])):
        named = _ID.search(item[1])
        texts = {tag: pattern.search(item[2]) for tag, pattern in _TEXTS.items()}
        words = {tag: _folded(match[1]) if match is not None else "" for tag, match in texts.items()}
        found.append(ListedPart((named[1] or named[2] or "") if named is not None else "", *words.values()))
    return tuple(found)


def _folded(text: str) -> str:
    return " ".join(html.unescape(text).split())
