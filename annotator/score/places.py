"""Where things stand in a score's text: what the marks are spliced into.

lxml says what a score means; this says at which character each ``<note>`` and its neighbours begin
and end. What only looks like an element (in comments, CDATA sections, processing instructions, the
DOCTYPE) is blanked out first, character for character, so that a plain search finds the rest.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NamedTuple

# The subset in a DOCTYPE may hold comments and quoted values, and these a "]".
_SUBSET = r"""\[(?:<!--.*?-->|<\?.*?\?>|"[^"]*"|'[^']*'|[^\]"'<]|<(?!!--|\?))*\]\s*"""
_DOCTYPE = rf"""<!DOCTYPE(?:[^\[<>"']|"[^"]*"|'[^']*')*(?:{_SUBSET})?>"""
_NO_ELEMENT = re.compile(rf"<!--.*?-->|<!\[CDATA\[.*?\]\]>|<\?.*?\?>|{_DOCTYPE}", re.DOTALL)
# An attribute value may hold a ">", so a tag's end is found past its quotes.
_REST_OF_TAG = r"""[^>"']*(?:(?:"[^"]*"|'[^']*')[^>"']*)*>"""
_TAG_END = re.compile(_REST_OF_TAG)
_CHILDREN = "note|attributes|backup|forward|direction|barline"
_TAG = re.compile(rf"<(?:({_CHILDREN})|(/?)(measure|part|score-part))(?=[\s/>])")
_END_OF = {tag: re.compile(rf"</{tag}\s*>") for tag in _CHILDREN.split("|")}
_INSIDE_NOTE = re.compile(
    rf"<(/?)(notations|lyric|play|listen)(?=[\s/>]){_REST_OF_TAG}|(</note\s*>)|{_NO_ELEMENT.pattern}",
    re.DOTALL,
)


class Element(NamedTuple):
    """An element's extent in the text: its start tag is ``start:opened``, all of it ``start:end``.

    ``opened == end`` for an empty-element tag, which has no inside to put anything in. A tuple, since
    there is one for every child of every measure.
    """

    tag: str
    start: int
    opened: int
    end: int


class Container(NamedTuple):
    """One measure of one part, with what stands in it, in order.

    In score-partwise that is a ``<measure>``, in score-timewise a ``<part>`` in a measure; ``element`` is
    its extent. ``first_note`` is the number of its first note (of the next one after it, if it has none).
    """

    element: Element
    first_note: int
    children: tuple[Element, ...]


@dataclass(frozen=True, slots=True)
class Places:
    """All places of a text, each tuple in document order.

    ``notes`` are also among their containers' children. ``parts`` are the ``<part>`` elements (with
    score-timewise, the containers), ``score_parts`` the ``<score-part>`` elements.
    """

    notes: tuple[Element, ...]
    containers: tuple[Container, ...]
    parts: tuple[Element, ...]
    score_parts: tuple[Element, ...]


class Inside(NamedTuple):
    """Places in a note, counted from the end of its start tag.

    ``notations`` is where the content of its last ``<notations>`` ends, or -1 when it has none that
    can take more. ``after`` is where a new ``<notations>`` or ``<lyric>`` may stand.
    """

    notations: int
    after: int


NO_PLACE = Inside(-1, -1)


def with_indent(text: str, start: int) -> int:
    """Where the line of what begins at ``start`` ended before it; ``start`` where something else is on it."""
    before = start
    while before and text[before - 1] in " \t":
        before -= 1
    return before - 1 if before and text[before - 1] == "\n" else start


def find_places(text: str) -> Places:
    """The places of a score's text."""
    return _Walk(elements_only(text)).places()


def elements_only(text: str) -> str:
    """``text`` with blanks for everything that is not an element, at the same length."""
    if "<!--" not in text and "<![" not in text and "<!E" not in text and text.count("<?") <= 1:
        return text
    return _NO_ELEMENT.sub(_blanks, text)


def _blanks(match: re.Match[str]) -> str:
    return " " * (match.end() - match.start())


def inside_note(content: str) -> Inside:
    """The places in a note's ``content``: its text from the end of its start tag to the end of the note."""
    if "<!" not in content and "<?" not in content:
        return _inside_plain(content)
    notations = after = -1
    end = len(content)
    for token in _INSIDE_NOTE.finditer(content):
        closing, tag, last = token.groups()
        if last:
            end = token.start()
        elif tag == "notations":
            if closing:
                notations = token.start()
            elif content[token.end() - 2] == "/":
                # Nothing goes into an empty-element tag, and marks must not stand before it.
                notations = -1
        elif tag and not closing and after < 0:
            after = token.start()
    return Inside(notations, after if after >= 0 else end)


def _inside_plain(content: str) -> Inside:
    """As ``inside_note``, of a content in which all that looks like a tag is one."""
    places = [place for tag in ("<lyric", "<play", "<listen") if (place := content.find(tag)) >= 0]
    after = min(places) if places else content.rfind("</note")
    last = content.rfind("<notations")
    notations = -1
    if last >= 0:
        opened = _TAG_END.match(content, last + 1)
        if opened is not None and content[opened.end() - 2] != "/":
            notations = content.find("</notations", opened.end())
    return Inside(notations, after)


class _Walk:
    """One pass over a text. ``open`` holds the start tags of the measures and parts we are in."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.notes: list[Element] = []
        self.containers: list[Container] = []
        self.parts: list[Element] = []
        self.score_parts: list[Element] = []
        self.open: list[tuple[str, int, int]] = []
        self.children: list[Element] = []
        self.first_note = 0

    def places(self) -> Places:
        text, notes = self.text, self.notes
        find, search, tag_end, ends = text.find, _TAG.search, self._tag_end, _END_OF
        add_note = notes.append
        place = 0
        while (token := search(text, place)) is not None:
            start, named = token.span()
            if text[named] == ">":
                opened = named + 1
            else:
                opened = find(">", named) + 1
                # What ends a tag is a ">" behind a quote or a slash; any other stands in a value.
                if text[opened - 2] not in '"/' or find("'", named, opened) >= 0:
                    opened = tag_end(named)
            place = opened
            tag = token[1]
            if tag is None:
                self._outer(token[3], start, opened, closing=token[2] == "/")
                continue
            if text[opened - 2] != "/":
                end = ends[tag].search(text, opened)
                place = end.end() if end is not None else len(text)
            child = tuple.__new__(Element, (tag, start, opened, place))
            self.children.append(child)
            if tag == "note":
                add_note(child)
        return Places(tuple(notes), tuple(self.containers), tuple(self.parts), tuple(self.score_parts))

    def _tag_end(self, named: int) -> int:
        """Where the start tag ends whose name ended at ``named``."""
        whole = _TAG_END.match(self.text, named)
        return whole.end() if whole is not None else len(self.text)

    def _outer(self, tag: str, start: int, opened: int, *, closing: bool) -> None:
        """A start or end tag of a measure, a part or a score-part."""
        if closing:
            if self.open and self.open[-1][0] == tag:
                _, start, begun = self.open.pop()
                self._closed(Element(tag, start, begun, opened))
        elif self.text[opened - 2] == "/":
            self._closed(Element(tag, start, opened, opened))
        else:
            self.open.append((tag, start, opened))
            self.first_note = len(self.notes)

    def _closed(self, element: Element) -> None:
        if element.tag == "score-part":
            self.score_parts.append(element)
            return
        if self.open:
            measure = (element, self.first_note, tuple(self.children))
            self.containers.append(tuple.__new__(Container, measure))
            self.children = []
            self.first_note = len(self.notes)
        if element.tag == "part":
            self.parts.append(element)
