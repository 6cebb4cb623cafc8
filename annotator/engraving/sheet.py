"""The sheet round the music: title block, running head, page number, legend of the marks. SVG text.

Lengths are hundredths of a millimetre, as in the music.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from annotator.engraving.drawing import LETTER, signs, words
from annotator.engraving.paper import Paper
from annotator.registry.mark_rows import MARKS
from annotator.registry.product_rows import PRINTED

TITLE_BLOCK = 2700.0
RUNNING_HEAD = 900.0
FOOT = 700.0
LEGEND_LINE = 420.0
LEGEND_SIZE = 280.0

KINDS: Mapping[str, str] = {product.name: product.headed for product in PRINTED}


@dataclass(frozen=True, slots=True)
class Heading:
    """The words of a title block. ``crook`` is a sentence such as "in F, from bar 85 in C"."""

    title: str
    composer: str
    part: str
    crook: str
    instrument: str
    kind: str = "annotated"


def heading(report: Mapping[str, Any], part_id: str, copy: Any, kind: str, instrument: str) -> Heading:
    """The words for a part from its report (DESIGN: ``crookline.report/1``) and its engraving copy."""
    segments: list[Mapping[str, Any]] = []
    name = copy.part_name
    for part in report.get("parts", ()):
        if part.get("id") == part_id:
            segments = list(part.get("segments", ()))
            # What is written out has a heading of its own: the report's still names the old crook.
            name = (kind != "transposed" and part.get("name")) or name
    title = str(report.get("title") or "") or copy.title
    crook = crooks(segments)
    if kind == "transposed" and crook:
        crook = f"the part was {crook}"
    return Heading(title, copy.composer, name, crook, instrument, kind)


def crooks(segments: list[Mapping[str, Any]]) -> str:
    """The crooks of a part in words: ``in F, from bar 85 in C``."""
    found: list[str] = []
    last = ""
    for segment in segments:
        crook = signs(str(segment.get("crook", "")))
        if crook == last or not crook:
            continue
        found.append(f"from bar {segment.get('from_measure', '')} in {crook}" if found else f"in {crook}")
        last = crook
    return ", ".join(found)


def legend(marks: frozenset[str]) -> list[tuple[str, str]]:
    """The (sign, meaning) pairs of the marks that occur."""
    return [entry for mark in MARKS if mark.name in marks for entry in mark.legend]


def legend_height(marks: frozenset[str], paper: Paper) -> float:
    return LEGEND_LINE * len(_legend_lines(marks, paper))


def _legend_lines(marks: frozenset[str], paper: Paper) -> list[list[tuple[str, str]]]:
    """The legend's entries, as many to a line as fit the paper."""
    room = (paper.width - 2 * paper.margin) * 100
    lines: list[list[tuple[str, str]]] = []
    used = room
    for sign, meaning in legend(marks):
        width = _entry_width(sign, meaning)
        if used + width > room:
            lines.append([])
            used = 0.0
        lines[-1].append((sign, meaning))
        used += width
    return lines


def _sign_width(sign: str) -> float:
    return (len(sign) * 0.5 + 0.6) * LEGEND_SIZE if sign else 0.0


def _entry_width(sign: str, meaning: str) -> float:
    return _sign_width(sign) + (len(meaning) * LETTER + 1.5) * LEGEND_SIZE


def title_block(head: Heading, paper: Paper) -> str:
    """The head of the first page, ``TITLE_BLOCK`` high, from the margin down."""
    left, right = paper.margin * 100, (paper.width - paper.margin) * 100
    middle = paper.width * 50
    top = paper.margin * 100
    room = right - left
    for_whom = f"{KINDS.get(head.kind, head.kind)} {head.instrument}"
    crook = head.crook[:1].upper() + head.crook[1:]
    return "".join(
        (
            words(middle, top + 620, 620, head.title, anchor="middle", weight="bold", room=room),
            words(left, top + 1250, 440, head.part, weight="bold", room=room * 0.5),
            words(right, top + 1250, 360, head.composer, anchor="end", room=room * 0.45),
            words(left, top + 1730, 330, crook, room=room * 0.55),
            words(right, top + 1730, 330, for_whom, anchor="end", style="italic", room=room * 0.42),
        )
    )


def running_head(head: Heading, paper: Paper, page: int) -> str:
    """The head of every later page: the part outside, the title in the middle."""
    left, right = paper.margin * 100, (paper.width - paper.margin) * 100
    y = paper.margin * 100 + 300
    room = (right - left) * 0.4
    outer, anchor = (right, "end") if page % 2 else (left, "start")
    part = words(outer, y, 300, head.part, anchor=anchor, weight="bold", room=room * 0.7)
    return part + words(paper.width * 50, y, 300, head.title, anchor="middle", style="italic", room=room)


def foot(paper: Paper, page: int, pages: int, marks: frozenset[str], *, legend_here: bool) -> str:
    """Page number, and above it the legend where it belongs."""
    bottom = (paper.height - paper.margin) * 100
    number = words(paper.width * 50, bottom, 290, f"{page} / {pages}", anchor="middle")
    if not legend_here or not marks:
        return number
    left, right = paper.margin * 100, (paper.width - paper.margin) * 100
    lines = _legend_lines(marks, paper)
    y = bottom - FOOT + 150 - LEGEND_LINE * (len(lines) - 1)
    parts = [f'<path d="M{left:.0f} {y - 420:.0f} H{right:.0f}" stroke="currentColor" stroke-width="12"/>']
    for line in lines:
        x = left
        for sign, meaning in line:
            if sign:
                parts.append(words(x, y, LEGEND_SIZE, sign, weight="bold"))
            parts.append(words(x + _sign_width(sign), y, LEGEND_SIZE, meaning))
            x += _entry_width(sign, meaning)
        y += LEGEND_LINE
    return number + f'<g class="legend">{"".join(parts)}</g>'
