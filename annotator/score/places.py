"""Where things stand in a score's text: what the marks are spliced into.

lxml says what a score means; this says at which character each ``<note>`` and its neighbours begin
and end. One regular expression walks the text and skips what only looks like an element: comments,
CDATA sections, processing instructions, the DOCTYPE.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

# The subset in a DOCTYPE may hold comments and quoted values, and these a "]".
_SUBSET = r"""\[(?:<!--.*?-->|<\?.*?\?>|"[^"]*"|'[^']*'|[^\]"'<]|<(?!!--|\?))*\]\s*"""
_SKIPPED = (
    r"<!--.*?-->|<!\[CDATA\[.*?\]\]>|<\?.*?\?>"
    rf"""|<!DOCTYPE(?:[^\[<>"']|"[^"]*"|'[^']*')*(?:{_SUBSET})?>"""
)
# An attribute value may hold a ">", so a tag's end is found past its quotes.
_REST_OF_TAG = r"""(?=[\s/>])(?:[^>"']|"[^"]*"|'[^']*')*>"""
_TAGS = "note|notations|lyric|play|listen|measure|part|score-part|attributes|backup|forward|direction|barline"
_TOKEN = re.compile(rf"{_SKIPPED}|<(/?)({_TAGS}){_REST_OF_TAG}", re.DOTALL)


# What may follow a <notations> in a note: a new one must stand before these.
_AFTER_NOTATIONS = frozenset(("lyric", "play", "listen"))


@dataclass(frozen=True, slots=True)
class Element:
    """An element's extent in the text: its start tag is ``start:opened``, all of it ``start:end``.

    ``opened == end`` for an empty-element tag, which has no inside to put anything in.
    """

    tag: str
    start: int
    opened: int
    end: int


@dataclass(frozen=True, slots=True)
class NotePlace(Element):
    """A ``<note>``. ``inside`` is where its last ``<notations>`` ends within (before the end tag), or
    -1 when it has none that can take more. ``after`` is where a new ``<notations>`` or ``<lyric>`` may
    stand, or -1 in an empty note.
    """

    inside: int
    after: int


@dataclass(frozen=True, slots=True)
class Container(Element):
    """One measure of one part, with what stands in it, in order.

    In score-partwise that is a ``<measure>``, in score-timewise a ``<part>`` in a measure.
    ``first_note`` is the number of its first note (or of the next one after it, if it has none).
    """

    first_note: int
    children: tuple[Element, ...]


@dataclass(frozen=True, slots=True)
class Places:
    """All places of a text, each tuple in document order.

    ``notes`` are also among their containers' children. ``parts`` are the ``<part>`` elements (with
    score-timewise, the containers), ``score_parts`` the ``<score-part>`` elements.
    """

    notes: tuple[NotePlace, ...]
    containers: tuple[Container, ...]
    parts: tuple[Element, ...]
    score_parts: tuple[Element, ...]


def find_places(text: str) -> Places:  # noqa: PLR0912, PLR0915 - one pass, kept flat for speed
    """The places of a score's text. Takes about a microsecond per element of ``_TAGS``."""
    notes: list[NotePlace] = []
    containers: list[Container] = []
    score_parts: list[Element] = []
    parts: list[Element] = []
    children: list[Element] = []
    outer: dict[str, tuple[int, int]] = {}
    start = opened = -1
    inside = after = -1
    in_note = False
    depth: list[str] = []
    first_note = 0
    for token in _TOKEN.finditer(text):
        closing, tag = token.groups()
        if tag is None:
            continue
        begin, finish = token.span()
        if in_note:
            if tag == "notations":
                if closing:
                    inside = begin
                elif text[finish - 2] == "/":
                    # Nothing goes into an empty-element tag, and marks must not stand before it.
                    inside = -1
            elif tag == "note":
                if closing:
                    note = NotePlace(tag, start, opened, finish, inside, after if after >= 0 else begin)
                    notes.append(note)
                    children.append(note)
                    in_note = False
            elif after < 0 and tag in _AFTER_NOTATIONS and not closing:
                after = begin
        elif tag == "note":
            if text[finish - 2] == "/":
                empty = NotePlace(tag, begin, finish, finish, -1, -1)
                notes.append(empty)
                children.append(empty)
            elif not closing:
                start, opened, inside, after, in_note = begin, finish, -1, -1, True
        elif tag in ("measure", "part"):
            if closing:
                if depth and depth[-1] == tag:
                    depth.pop()
                at = outer.get(tag, (begin, begin))
                if depth:
                    containers.append(Container(tag, *at, finish, first_note, tuple(children)))
                    children = []
                    first_note = len(notes)
                if tag == "part":
                    parts.append(Element(tag, *at, finish))
            elif text[finish - 2] == "/":
                if depth:
                    containers.append(Container(tag, begin, finish, finish, first_note, ()))
                if tag == "part":
                    parts.append(Element(tag, begin, finish, finish))
            else:
                depth.append(tag)
                outer[tag] = (begin, finish)
        elif tag == "score-part":
            if closing:
                score_parts.append(Element(tag, *outer.get(tag, (begin, begin)), finish))
            elif text[finish - 2] == "/":
                score_parts.append(Element(tag, begin, finish, finish))
            else:
                outer[tag] = (begin, finish)
        elif closing:
            children.append(Element(tag, start, opened, finish))
        elif text[finish - 2] == "/":
            children.append(Element(tag, begin, finish, finish))
        else:
            start, opened = begin, finish
    return Places(tuple(notes), tuple(containers), tuple(parts), tuple(score_parts))
