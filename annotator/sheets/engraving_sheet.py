"""The sheet round the music: title block, running head, page number, legend of the marks. SVG text.

Lengths are hundredths of a millimetre, as in the music.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import escape

from annotator.sheets.paper import Paper

# In the PDF the first of these is always there (it comes with the typesetter); a browser takes the next.
FACE = "Libertinus Serif, 'Times New Roman', Times, serif"
TITLE_BLOCK = 2700.0
RUNNING_HEAD = 900.0
FOOT = 700.0
LEGEND_LINE = 420.0
# Mean width of a letter of the text face, as a share of its size: only used to break lines.
LETTER = 0.44

LEGEND: tuple[tuple[str, str, str], ...] = (
    ("fingering", "1-2", "valves to press, 0 is open"),
    ("partial", "5", "under the staff: the partial, counted from the fundamental"),
    ("crossing", "!", "awkward crossing to this note: ! mild, !! awkward, !!! hard"),
    ("cue", "", "small staff: the notes as read on the instrument in hand"),
)

KINDS: Mapping[str, str] = {"annotated": "marked for", "transposed": "written out for"}


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
            name = part.get("name") or name
    return Heading(copy.title, copy.composer, name, crooks(segments), instrument, kind)


def crooks(segments: list[Mapping[str, Any]]) -> str:
    """The crooks of a part in words: ``in F, from bar 85 in C``."""
    words: list[str] = []
    last = ""
    for segment in segments:
        crook = str(segment.get("crook", "")).replace("b", "♭").replace("#", "♯")
        if crook == last or not crook:
            continue
        words.append(f"from bar {segment.get('from_measure', '')} in {crook}" if words else f"in {crook}")
        last = crook
    return ", ".join(words)


def legend(marks: frozenset[str]) -> list[tuple[str, str]]:
    """The (sign, meaning) pairs of the marks that occur."""
    return [(sign, meaning) for mark, sign, meaning in LEGEND if mark in marks]


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


def _entry_width(sign: str, meaning: str) -> float:
    return (len(meaning) * LETTER + len(sign) * 0.55 + 1.6) * 300


def _text(
    x: float, y: float, size: float, words: str, *, anchor: str = "start", weight: str = "", style: str = ""
) -> str:
    extra = (f' font-weight="{weight}"' if weight else "") + (f' font-style="{style}"' if style else "")
    return (
        f'<text x="{x:.0f}" y="{y:.0f}" font-size="{size:.0f}" text-anchor="{anchor}"{extra}>'
        f"{escape(words)}</text>"
    )


def fitted(words: str, size: float, room: float) -> float:
    """The largest size up to ``size`` at which ``words`` fit into ``room``."""
    width = len(words) * LETTER * size
    return size if width <= room else max(size * room / width, 180.0)


def title_block(words: Heading, paper: Paper) -> str:
    """The head of the first page, ``TITLE_BLOCK`` high, from the margin down."""
    left, right = paper.margin * 100, (paper.width - paper.margin) * 100
    middle = paper.width * 50
    top = paper.margin * 100
    room = right - left
    for_whom = f"{KINDS.get(words.kind, words.kind)} {words.instrument}"
    parts = [
        _text(middle, top + 620, fitted(words.title, 620, room), words.title, anchor="middle", weight="bold"),
        _text(left, top + 1250, fitted(words.part, 440, room * 0.5), words.part, weight="bold"),
        _text(right, top + 1250, fitted(words.composer, 360, room * 0.45), words.composer, anchor="end"),
    ]
    crook = words.crook[:1].upper() + words.crook[1:]
    if crook:
        parts.append(_text(left, top + 1730, fitted(crook, 330, room * 0.55), crook))
    parts.append(_text(right, top + 1730, 330, for_whom, anchor="end", style="italic"))
    return "".join(parts)


def running_head(words: Heading, paper: Paper, page: int) -> str:
    """The head of every later page: the part outside, the title in the middle."""
    left, right = paper.margin * 100, (paper.width - paper.margin) * 100
    y = paper.margin * 100 + 300
    room = right - left
    outer, anchor = (right, "end") if page % 2 else (left, "start")
    return _text(
        outer, y, fitted(words.part, 300, room * 0.4), words.part, anchor=anchor, weight="bold"
    ) + _text(
        paper.width * 50,
        y,
        fitted(words.title, 300, room * 0.4),
        words.title,
        anchor="middle",
        style="italic",
    )


def foot(paper: Paper, page: int, pages: int, marks: frozenset[str], *, legend_here: bool) -> str:
    """Page number, and above it the legend where it belongs."""
    bottom = (paper.height - paper.margin) * 100
    number = _text(paper.width * 50, bottom, 290, f"{page} / {pages}", anchor="middle")
    if not legend_here or not marks:
        return number
    left, right = paper.margin * 100, (paper.width - paper.margin) * 100
    lines = _legend_lines(marks, paper)
    y = bottom - FOOT + 150 - LEGEND_LINE * (len(lines) - 1)
    parts = [f'<path d="M{left:.0f} {y - 420:.0f} H{right:.0f}" stroke="currentColor" stroke-width="12"/>']
    for line in lines:
        x = left
        for sign, meaning in line:
            words = f'<tspan font-weight="bold">{escape(sign)}</tspan>  ' if sign else ""
            words += f"<tspan>{escape(meaning)}</tspan>"
            parts.append(f'<text x="{x:.0f}" y="{y:.0f}" font-size="280">{words}</text>')
            x += _entry_width(sign, meaning)
        y += LEGEND_LINE
    return number + f'<g class="legend">{"".join(parts)}</g>'
