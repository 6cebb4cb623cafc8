"""Where things stand in a score's text: what the marks are spliced into.

lxml says what a score means; this says at which character each ``<note>`` and its neighbours begin
and end. One regular expression walks the text and skips what only looks like an element: comments,
CDATA sections, processing instructions, the DOCTYPE.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NamedTuple

# The subset in a DOCTYPE may hold comments and quoted values, and these a "]".
_SUBSET = r"""\[(?:<!--.*?-->|<\?.*?\?>|"[^"]*"|'[^']*'|[^\]"'<]|<(?!!--|\?))*\]\s*"""
_SKIPPED = r"<!--.*?-->|<!\[CDATA\[.*?\]\]>|<\?.*?\?>"
_DOCTYPE = rf"""<!DOCTYPE(?:[^\[<>"']|"[^"]*"|'[^']*')*(?:{_SUBSET})?>"""
# An attribute value may hold a ">", so a tag's end is found past its quotes.
_REST_OF_TAG = r"""(?=[\s/>])[^>"']*(?:(?:"[^"]*"|'[^']*')[^>"']*)*>"""
_CHILDREN = "note|attributes|backup|forward|direction|barline"
_CHILD = re.compile(
    rf"<(?:({_CHILDREN})|(/?)(measure|part|score-part)){_REST_OF_TAG}|{_SKIPPED}|{_DOCTYPE}", re.DOTALL
)
_PLAIN_END = {tag: re.compile(rf"(</{tag}\s*>)") for tag in _CHILDREN.split("|")}
_CAREFUL_END = {tag: re.compile(rf"(</{tag}\s*>)|{_SKIPPED}", re.DOTALL) for tag in _CHILDREN.split("|")}
_INSIDE_NOTE = re.compile(
    rf"<(/?)(notations|lyric|play|listen){_REST_OF_TAG}|(</note\s*>)|{_SKIPPED}", re.DOTALL
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


@dataclass(frozen=True, slots=True)
class Container:
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


def find_places(text: str) -> Places:
    """The places of a score's text."""
    return _Walk(text).places()


def inside_note(content: str) -> Inside:
    """The places in a note's ``content``: its text from the end of its start tag to the end of the note."""
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


class _Walk:
    """One pass over a text. ``open`` holds the start tags of the measures and parts we are in."""

    def __init__(self, text: str) -> None:
        self.text = text
        # In a text without comments and the like an element ends at the next end tag of its name.
        self.plain = "<!--" not in text and "<![CDATA[" not in text and text.count("<?") <= 1
        self.notes: list[Element] = []
        self.containers: list[Container] = []
        self.parts: list[Element] = []
        self.score_parts: list[Element] = []
        self.open: list[tuple[str, int, int]] = []
        self.children: list[Element] = []
        self.first_note = 0

    def places(self) -> Places:
        text, notes = self.text, self.notes
        done = 0
        for token in _CHILD.finditer(text):
            start, opened = token.span()
            if start < done:
                continue
            tag = token[1]
            if tag is not None:
                end = opened if text[opened - 2] == "/" else self._end(tag, opened)
                child = Element(tag, start, opened, end)
                self.children.append(child)
                if tag == "note":
                    notes.append(child)
                done = end
            elif token[3] is not None:
                self._outer(token[3], start, opened, closing=token[2] == "/")
        return Places(tuple(notes), tuple(self.containers), tuple(self.parts), tuple(self.score_parts))

    def _end(self, tag: str, opened: int) -> int:
        """Where the element ends whose start tag ended at ``opened``."""
        pattern = _PLAIN_END[tag] if self.plain else _CAREFUL_END[tag]
        for token in pattern.finditer(self.text, opened):
            if token[1]:
                return token.end()
        return len(self.text)

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
            self.containers.append(Container(element, self.first_note, tuple(self.children)))
            self.children = []
            self.first_note = len(self.notes)
        if element.tag == "part":
            self.parts.append(element)
