"""The words of a direction without those that change the crook: a part that is written out needs none.

Exactly what the change's own words are goes ("muta in C"), with the comma or the dash that joined it to its
neighbours; what is somebody else's ("senza sord.", "Tempo I") stays as it stood.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from annotator.reading.changes import read_change
from annotator.reading.names import heading_span
from annotator.reading.said import Span
from annotator.reading.spoken import goes_on
from annotator.score.names import sign_of
from annotator.score.places import Element, with_indent

Edit = tuple[int, int, str]

_PIECE = re.compile(r"<(words|symbol)(?=[\s>])[^>]*>([^<]*)</\1\s*>")
_TYPE = re.compile(r"\s*<direction-type(?=[\s>])[^>]*>(.*?)</direction-type\s*>", re.DOTALL)
_STAFF = re.compile(r"<staff>\s*(\d+)\s*</staff\s*>")
_REFERENCE = re.compile(r"&(?:#\d+|#x[0-9a-fA-F]+|\w+);")
_JOINT = r"[\s,;:/–—-]*"
_LEFT = re.compile(rf"({_JOINT})\Z")
_RIGHT = re.compile(rf"\A({_JOINT}|\.)")
_EMPTY = re.compile(r"\(\s*\)|\[\s*\]")


@dataclass(frozen=True, slots=True)
class _Piece:
    """A ``<words>`` or ``<symbol>``: its extent, that of its text, and each character with its place."""

    start: int
    end: int
    inner: Span
    characters: tuple[tuple[str, int, int], ...]


@dataclass(frozen=True, slots=True)
class _Said:
    """A direction's pieces, its text as it is read, and for each character of it the piece and its place."""

    element: Element
    measure: int
    staff: str
    pieces: tuple[_Piece, ...]
    text: str
    where: tuple[tuple[int, int], ...]


def without_changes(text: str, directions: Sequence[tuple[int, Element, bool]]) -> Iterator[Edit]:
    """Edits that take the changes out of a part's directions, each with its measure's index.

    The third of each says whether its measure has cue notes: an instrument's name is their label there.
    """
    said = [
        (found, cues)
        for measure, element, cues in directions
        if (found := _said(text, element, measure)).text
    ]
    index = 0
    while index < len(said):
        group = [said[index][0]]
        together = group[0].text
        while index + len(group) < len(said):
            following = said[index + len(group)][0]
            near = following.measure - group[-1].measure <= 1 and following.staff == group[-1].staff
            if not near or not goes_on(together, following.text):
                break
            group.append(following)
            together = f"{together} {following.text}"
        yield from _taken_out(text, group, together, cues=said[index][1])
        index += len(group)


def renamed(text: str, name: str) -> str | None:
    """A heading's text, as XML, with another name for its trumpet; None where it names none."""
    characters = tuple(_characters(text, 0))
    plain = "".join(char for char, _, _ in characters)
    span = heading_span(plain)
    if span is None:
        return None
    start, end = characters[span[0]][1], characters[span[1] - 1][2]
    return text[:start] + name + text[end:]


def _said(text: str, element: Element, measure: int) -> _Said:
    pieces: list[_Piece] = []
    letters: list[str] = []
    where: list[tuple[int, int]] = []
    for match in _PIECE.finditer(text, element.start, element.end):
        characters = tuple(_characters(match[2], match.start(2)))
        if match[1] == "symbol":
            sign = sign_of(match[2].strip())
            characters = ((sign, match.start(2), match.end(2)),) if sign else ()
        if letters and characters:
            letters.append(" ")
            where.append((-1, -1))
        for place, (char, _, _) in enumerate(characters):
            letters.append(char)
            where.append((len(pieces), place))
        pieces.append(_Piece(match.start(), match.end(), match.span(2), characters))
    staff = _STAFF.search(text, element.start, element.end)
    return _Said(element, measure, staff[1] if staff else "", tuple(pieces), "".join(letters), tuple(where))


def _characters(text: str, at: int) -> Iterator[tuple[str, int, int]]:
    """The characters that XML text stands for, each with its place in it."""
    end = 0
    for match in _REFERENCE.finditer(text):
        yield from ((text[place], at + place, at + place + 1) for place in range(end, match.start()))
        # The reference's place is that of its last character too.
        for char in html.unescape(match[0]):
            yield char, at + match.start(), at + match.end()
        end = match.end()
    yield from ((text[place], at + place, at + place + 1) for place in range(end, len(text)))


def _taken_out(text: str, group: list[_Said], together: str, *, cues: bool) -> Iterator[Edit]:
    change = read_change(together)
    if change is None or change.bare or (cues and change.named.family and not change.announces):
        return
    places: list[tuple[int, int, int]] = []
    for number, said in enumerate(group):
        if places:
            places.append((-1, -1, -1))
        places += [(number, piece, place) for piece, place in said.where]
    gone: dict[tuple[int, int], set[int]] = {}
    for start, end in change.spans:
        for number, piece, place in places[start:end]:
            if piece >= 0:
                gone.setdefault((number, piece), set()).add(place)
    for number, said in enumerate(group):
        left = [
            _left(text, piece, gone.get((number, index), set())) for index, piece in enumerate(said.pieces)
        ]
        yield from _edits(text, said, left)


def _left(text: str, piece: _Piece, gone: set[int]) -> str | None:
    """What is left of a piece's text, None where nothing was taken out of it."""
    if not gone:
        return None
    left = ""
    everything = enumerate(piece.characters)
    for stays, run in groupby(everything, key=lambda item: item[0] not in gone):
        if stays:
            kept = "".join(text[start:end] for _, (_, start, end) in run)
            left = _joined(left, kept) if left else kept
    return _EMPTY.sub("", re.sub(rf"^{_JOINT}(?=.)|{_JOINT}\Z", "", left)).strip()


def _joined(before: str, after: str) -> str:
    """Two texts with one joint between them: the first one's, else the second one's."""
    left, right = _LEFT.search(before), _RIGHT.search(after)
    assert left is not None  # both match nothing, if need be
    joint_right = right[0] if right is not None else ""
    one, two = before[: left.start()], after[len(joint_right) :]
    if not one or not two:
        return one or two
    if one[-1] in "([" or two[0] in ")]":
        return one + two
    if left[0].strip():
        return one + left[0] + two
    return one + (joint_right if joint_right.strip(" .") and one[-1] != "." else " ") + two


def _edits(text: str, said: _Said, left: list[str | None]) -> Iterator[Edit]:
    """A direction without what was taken out of it: emptied elements go, all others stay."""
    emptied = [index for index, each in enumerate(left) if each == ""]
    for index, each in enumerate(left):
        if each:
            yield (*said.pieces[index].inner, each)
    if not emptied:
        return
    inside = text[said.element.start : said.element.end]
    types = list(_TYPE.finditer(text, said.element.start, said.element.end))
    going = []
    for match in types:
        pieces = [piece for piece in said.pieces if match.start(1) <= piece.start < match.end(1)]
        gone = [said.pieces[index] for index in emptied if said.pieces[index] in pieces]
        rest = match[1]
        for piece in gone:
            rest = rest.replace(text[piece.start : piece.end], "", 1)
        if gone and not rest.strip():
            going.append(match)
        else:
            yield from ((piece.start, piece.end, "") for piece in gone)
    if len(going) < len(types):
        yield from ((match.start(), match.end(), "") for match in going)
    elif "<sound" in inside:
        # A direction needs something in it, and its playback stays.
        yield from ((*said.pieces[index].inner, "") for index in emptied)
    else:
        yield with_indent(text, said.element.start), said.element.end, ""
