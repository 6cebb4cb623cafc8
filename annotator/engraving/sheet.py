"""The sheet round the music: title block, running head, page number. SVG text.

Lengths are hundredths of a millimetre, as in the music; they grow with it in large print.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from annotator.engraving import faces
from annotator.engraving.drawing import signs, words
from annotator.engraving.paper import Paper
from annotator.registry.product_rows import PRINTED

RUNNING_HEAD = 900.0
FOOT = 700.0
# Between the title block and the music.
_AIR = 300.0

KINDS: Mapping[str, str] = {product.name: product.headed for product in PRINTED}


@dataclass(frozen=True, slots=True)
class Heading:
    """The words of a title block. ``crook`` is a sentence such as "in F, from bar 85 in C". ``player``: whose
    sheet it is, if that is known."""

    title: str
    composer: str
    part: str
    crook: str
    instrument: str
    kind: str = "annotated"
    player: str = ""


def heading(report: Mapping[str, Any], copy: Any, kind: str, *, instrument: str, player: str = "") -> Heading:
    """The words for a part from its report (``crookline.report/1``) and its engraving copy."""
    segments: list[Mapping[str, Any]] = []
    name = copy.part_name
    for part in report.get("parts", ()):
        if part.get("id") == copy.part_id:
            segments = list(part.get("segments", ()))
            # What is written out has a heading of its own: the report's still names the old crook.
            name = (kind != "transposed" and part.get("name")) or name
    title = _once(str(report.get("title") or "") or copy.title)
    crook = crooks(segments)
    if kind == "transposed" and crook:
        crook = f"the part was {crook}"
    return Heading(title, copy.composer, name, crook, instrument, kind, player)


def _once(title: str) -> str:
    """A title without what it says twice: "Nachtfähre (Night Ferry), Nachtfähre"."""
    pieces = title.split(", ")
    return ", ".join(
        piece
        for index, piece in enumerate(pieces)
        if not any(
            piece in other and (piece != other or at < index)
            for at, other in enumerate(pieces)
            if at != index
        )
    )


def crooks(segments: list[Mapping[str, Any]]) -> str:
    """The crooks of a part in words: ``in F, from bar 85 in C``; ``piccolo in A``; of players who change
    apart each by the number of his line: ``1 in F, from bar 85 in C; 2 in F``."""
    groups: dict[tuple[int, ...], list[Mapping[str, Any]]] = {}
    for segment in segments:
        groups.setdefault(tuple(segment.get("lines", ())), []).append(segment)
    if len(groups) > 1:
        each = (f"{', '.join(map(str, lines))} {_in_order(own)}" for lines, own in groups.items())
        return "; ".join(each)
    return _in_order(segments)


def _in_order(segments: list[Mapping[str, Any]]) -> str:
    found: list[str] = []
    last = ""
    for segment in segments:
        crook = signs(str(segment.get("crook", "")))
        if crook == last or not crook:
            continue
        kind, _, key = crook.rpartition(" ")
        said = f"{kind} in {key}" if kind == "piccolo" else f"in {crook}"
        found.append(f"from bar {segment.get('from_measure', '')} {said}" if found else said)
        last = crook
    return ", ".join(found)


def title_height(head: Heading, paper: Paper, scale: float) -> float:
    """How much of the first page its title block takes."""
    return (
        len(_title_lines(head, paper, scale)[1]) * 480 * scale
        + (870 if head.title else 0) * scale
        + _AIR * scale
    )


def title_block(head: Heading, paper: Paper, scale: float) -> str:
    """The head of the first page, from the margin down."""
    left, right = paper.margin * 100, (paper.width - paper.margin) * 100
    y = paper.margin * 100
    parts = []
    if head.title:
        y += 620 * scale
        parts.append(
            words(
                *((left + right) / 2, y, 620 * scale, head.title),
                anchor="middle",
                weight="bold",
                room=right - left,
            )
        )
        y += 250 * scale
    narrow, rows = _title_lines(head, paper, scale)
    for row in rows:
        y += 480 * scale
        for x, anchor, (text, size, weight, style) in zip((left, right), ("start", "end"), row, strict=False):
            room = (
                right - left
                if narrow or not all(cell[0] for cell in row)
                else _share(row, right - left, x == left)
            )
            parts.append(words(x, y, size, text, anchor=anchor, weight=weight, style=style, room=room))
    return "".join(parts)


Cell = tuple[str, float, str, str]
_NOTHING: Cell = ("", 1.0, "", "")


def _title_lines(head: Heading, paper: Paper, scale: float) -> tuple[bool, list[list[Cell]]]:
    """The lines under the title, left and right cell; one under the other where the sheet is narrow."""
    # A part that is called like the piece is not named twice.
    part: Cell = (head.part if head.part != head.title else "", 440 * scale, "bold", "")
    player: Cell = (head.player, 440 * scale, "bold", "")
    composer: Cell = (head.composer, 360 * scale, "", "")
    crook: Cell = (head.crook[:1].upper() + head.crook[1:], 330 * scale, "", "")
    said = f"{KINDS.get(head.kind, head.kind)} {head.instrument}"
    whom: Cell = (
        "" if head.kind == "exercises" and head.part == head.instrument else said,
        330 * scale,
        "",
        "italic",
    )
    rows = [[part, composer], [crook, whom]]
    if head.player:
        rows = [[player, composer], [part, whom], [crook, _NOTHING]]
    narrow = paper.width < 100
    if narrow:
        rows = [[cell] for row in rows for cell in row]
    return narrow, [row for row in rows if any(cell[0] for cell in row)]


def _share(row: list[Cell], room: float, first: bool) -> float:
    """The room of one of two cells on a line: each what it needs, or shares of what there is."""
    apart = 500.0
    widths = [
        faces.width(text, size, faces.face(bold=weight == "bold", italic=style == "italic"))
        for text, size, weight, style in row
    ]
    if sum(widths) + apart <= room:
        return room
    mine = widths[0] if first else widths[1]
    return (room - apart) * mine / sum(widths)


def running_head(head: Heading, paper: Paper, page: int, scale: float) -> str:
    """The head of every later page: part and player outside, the title in the middle."""
    left, right = paper.margin * 100, (paper.width - paper.margin) * 100
    size = 300 * scale
    y = paper.margin * 100 + size
    outer, anchor = (right, "end") if page % 2 else (left, "start")
    named = [head.part, head.player] if head.part != head.title else [head.player]
    part = ", ".join(piece for piece in named if piece) or head.part
    wide = min(faces.width(part, size, faces.BOLD), (right - left) * 0.55)
    room = right - left - 2 * (wide + size)
    found = words(outer, y, size, part, anchor=anchor, weight="bold", room=(right - left) * 0.55)
    if head.title and head.title != part and room > 0:
        found += words(paper.width * 50, y, size, head.title, anchor="middle", style="italic", room=room)
    return found


def foot(paper: Paper, height: float, page: int, scale: float) -> str:
    """The page number, at the foot of a page this high."""
    return words(paper.width * 50, height - paper.margin * 100, 290 * scale, str(page), anchor="middle")
