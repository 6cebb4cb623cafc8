"""Engraved sheets: MusicXML to pages of SVG (verovio), pages to PDF (typst), nothing rastered.

    >>> sheet = Engraving(marked.data, marked.report, paper=paper("a4"))
    >>> sheet.page_count
    3
    >>> sheet.page(1)            # an SVG document, drawn when asked for
    >>> sheet.pdf()              # all pages, fonts inside

On a page every note of the part is ``<g id="n{place}" class="note">`` with ``place`` as in the report,
and every measure ``<g id="m{index}" class="measure">`` with the index from 0 in the part (a long rest
carries its first).
"""

from __future__ import annotations

import re
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from importlib import resources
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from annotator.engraving import layout, sheet
from annotator.engraving.clearance import clear
from annotator.engraving.copy_source import Copy, copy_part, parse, part_ids
from annotator.engraving.drawing import FACE
from annotator.engraving.glyphs import draw_signs
from annotator.engraving.mei import prepare
from annotator.engraving.paper import A4, Paper
from annotator.errors import BadOption, UnreadableScore

# The engraver's own limit for the height of a page, in tenths of a millimetre.
ROLL_HEIGHT = 60_000
# Half the distance of two staff lines, in tenths of a millimetre: a staff of 7.0 mm, as printed parts have.
UNIT = 8.75
_BOLD = re.compile(r'class="(fing|ending|reh|tempo)( [^"]*)?"')
_ITALIC = re.compile(r'class="(dir|dynam|mNum)( [^"]*)?"')
_SHAPE = re.compile(r"<(?:path|polygon|polyline|rect|ellipse) (?![^>]*stroke=)")
_PLACEHOLDER = re.compile(r'class="([^"]*\bplaceholder\b[^"]*)"')
# Letters beyond these need a font from the system; the typesetter carries Latin, Greek and Cyrillic.
_FOREIGN = re.compile(r"[^\u0000-\u052f\u1e00-\u27ff\ue000-\uf8ff]")
# The engraver keeps tables shared by all its toolkits.
_LOCK = threading.Lock()


@dataclass(frozen=True, slots=True)
class _Page:
    part: int
    start: int
    end: int
    number: int
    of: int


class Engraving:
    """A file set on paper: every trumpet part of its report, one after the other.

    ``data``: a .musicxml, .xml or .mxl file, annotated or transposed. ``report``: its report
    (``crookline.report/1``); without one every part is set. ``kind``: ``annotated``, ``transposed`` or
    ``exercises`` (the words of the title block). ``part``: an id, to set this part only.

    Music is laid out when a page is first asked for, and a page drawn when it is. Raises
    UnreadableScore, NoTrumpetPart, BadOption.
    """

    def __init__(
        self,
        data: bytes,
        report: Mapping[str, Any] | None = None,
        *,
        paper: Paper = A4,
        kind: str = "annotated",
        part: str = "",
        instrument: str = "",
    ) -> None:
        if kind not in sheet.KINDS:
            raise BadOption(f"kind is {kind!r}; choose from {', '.join(sheet.KINDS)}", field="kind")
        self.paper = paper
        self.kind = kind
        self._report = report or {}
        self._instrument = instrument or _instrument_name(str(self._report.get("instrument", "")))
        root = parse(data)
        there = part_ids(root)
        wanted = [str(one.get("id", "")) for one in self._report.get("parts", ())] or there
        if part:
            wanted = [part]
        # A fresh tree for each part: making the copy moves elements out of it.
        self._copies = [
            copy_part(root if len(wanted) == 1 else parse(data), one, breaks=self._own_breaks)
            for one in wanted
        ]
        self._rolls: dict[int, tuple[list[tuple[str, layout.System]], list[tuple[int, int]]]] = {}

    @cached_property
    def _pages(self) -> list[_Page]:
        pages = []
        for index in range(len(self._copies)):
            _, cuts = self._roll(index)
            for number, (start, end) in enumerate(cuts, start=1):
                pages.append(_Page(index, start, end, number, len(cuts)))
        return pages

    @property
    def page_count(self) -> int:
        """How many pages there are, of all parts together. Lays out every part."""
        return len(self._pages)

    def page(self, number: int) -> str:
        """Page ``number``, from 1, as an SVG document. Raises BadOption when there is no such page."""
        if not 1 <= number <= self.page_count:
            raise BadOption(f"there is no page {number}; there are {self.page_count}", field="page")
        return self._compose(self._pages[number - 1])

    def outline(self) -> list[dict[str, Any]]:
        """What is on which page: ``part`` (its id), ``from`` (index of the first measure in the part) and
        ``measures``, the numbers of all its measures as the file has them."""
        found = []
        for page in self._pages:
            systems, _ = self._roll(page.part)
            bars = self._copies[page.part].bars
            first = systems[page.start][1].first
            end = systems[page.end][1].first if page.end < len(systems) else len(bars)
            numbers = [bar.number for bar in bars[first:end]]
            found.append({"part": self._copies[page.part].part_id, "from": first, "measures": numbers})
        return found

    def pdf(self) -> bytes:
        """All pages as one PDF: vector, text as text, fonts embedded."""
        pages = [self.page(number) for number in range(1, self.page_count + 1)]
        words = self._heading(0)
        title = " – ".join(piece for piece in (words.title, words.part) if piece)
        return to_pdf(pages, self.paper, title=title, author=words.composer)

    @property
    def _own_breaks(self) -> bool:
        """Exercises begin on systems of their own, as the sheet says; a part is set anew."""
        return self.kind == "exercises"

    def _heading(self, index: int) -> sheet.Heading:
        copy = self._copies[index]
        return sheet.heading(self._report, copy.part_id, copy, self.kind, self._instrument)

    def _roll(self, index: int) -> tuple[list[tuple[str, layout.System]], list[tuple[int, int]]]:
        if index not in self._rolls:
            copy = self._copies[index]
            systems = _systems(copy, self.paper, own_breaks=self._own_breaks)
            first, later = self._room(copy, 1), self._room(copy, 2)
            cuts = layout.pages([system for _, system in systems], copy.bars, first, later)
            self._rolls[index] = (systems, cuts)
        return self._rolls[index]

    def _room(self, copy: Copy, number: int) -> float:
        """The height for music on a page, in hundredths of a millimetre."""
        whole = (self.paper.height - 2 * self.paper.margin) * 100 - sheet.FOOT
        if number == 1:
            return whole - sheet.TITLE_BLOCK - sheet.legend_height(copy.marks, self.paper)
        return whole - sheet.RUNNING_HEAD

    def _compose(self, page: _Page) -> str:
        copy, words = self._copies[page.part], self._heading(page.part)
        systems, _ = self._roll(page.part)
        chosen = systems[page.start : page.end]
        head = sheet.TITLE_BLOCK if page.number == 1 else sheet.RUNNING_HEAD
        places = layout.spread(
            [system for _, system in chosen],
            self._room(copy, page.number),
            last=page.number == page.of,
        )
        above = self.paper.margin * 100 + head
        music = "".join(
            f'<g transform="translate(0 {above + place - system.top:.0f})">{_finished(system.svg)}</g>'
            for place, (_, system) in zip(places, chosen, strict=True)
        )
        glyphs = "".join(dict.fromkeys(glyph for glyph, _ in chosen))
        block = (
            sheet.title_block(words, self.paper)
            if page.number == 1
            else sheet.running_head(words, self.paper, page.number)
        )
        below = sheet.foot(self.paper, page.number, page.of, copy.marks, legend_here=page.number == 1)
        label = escape(f"{words.part or copy.part_id}, page {page.number} of {page.of}")
        width, height = self.paper.width, self.paper.height
        return (
            '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
            f'class="sheet" role="img" width="{width}mm" height="{height}mm" '
            f'viewBox="0 0 {width * 100:.0f} {height * 100:.0f}" '
            f'font-family="{FACE}" fill="currentColor" color="black">'
            f"<title>{label}</title>{glyphs}{block}"
            f'<g transform="translate({self.paper.margin * 100:.0f} 0)">{music}</g>{below}</svg>'
        )


def to_pdf(pages: list[str], paper: Paper, *, title: str = "", author: str = "") -> bytes:
    """SVG pages as a PDF of this paper's size, one page each. Their text stays text, fonts inside."""
    import typst  # noqa: PLC0415 - a large library, needed for print only

    inputs = {f"page{index}": page for index, page in enumerate(pages)}
    inputs |= {
        "pages": str(len(pages)),
        "width": f"{paper.width}",
        "height": f"{paper.height}",
        "title": title,
        "author": author,
    }
    layout_rules = resources.files("annotator.engraving").joinpath("sheet.typ").read_bytes()
    foreign = any(_FOREIGN.search(page) for page in pages)
    return typst.compile(layout_rules, sys_inputs=inputs, ignore_system_fonts=not foreign)


def _instrument_name(instrument_id: str) -> str:
    from annotator.instruments import load  # noqa: PLC0415 - only sheets need the words

    return load(instrument_id).name if instrument_id else "trumpet"


def _systems(copy: Copy, paper: Paper, *, own_breaks: bool = False) -> list[tuple[str, layout.System]]:
    """The part as systems of the paper's width, each with the glyphs its roll is drawn with."""
    import verovio  # noqa: PLC0415 - a large library, needed for sheets only

    with _LOCK:
        verovio.enableLog(verovio.LOG_OFF)
        toolkit = verovio.toolkit(False)
        toolkit.setResourcePath(str(Path(verovio.__file__).parent / "data"))
        # Names inside the drawing are random otherwise; the same part shall give the same bytes.
        toolkit.resetXmlIdSeed(1)
        toolkit.setOptions(_options(paper, roll=False))
        if not toolkit.loadData(copy.xml):
            raise UnreadableScore("the part cannot be engraved", part=copy.part_id)
        mei = prepare(toolkit.getMEI({"removeIds": False}), copy)
        toolkit.setOptions(_options(paper, roll=True, own_breaks=own_breaks))
        if not toolkit.loadData(mei):
            raise UnreadableScore("the part cannot be engraved", part=copy.part_id)
        rolls = [toolkit.renderToSVG(number + 1) for number in range(toolkit.getPageCount())]
    systems: list[tuple[str, layout.System]] = []
    for roll in rolls:
        head, cut = layout.cut(roll)
        glyphs = head[head.find("<defs>") : head.find("</defs>") + len("</defs>")]
        systems.extend((glyphs, system) for system in cut)
    return systems


def _finished(music: str) -> str:
    """A system fit to be seen: style rules as attributes (a strict page allows no style element), music
    signs drawn, fingerings clear of slurs. Done for the pages that are looked at, not for all."""
    music = _SHAPE.sub(lambda match: match.group(0) + 'stroke="currentColor" ', music)
    music = _BOLD.sub(lambda match: match.group(0) + ' font-weight="bold"', music)
    music = _ITALIC.sub(lambda match: match.group(0) + ' font-style="italic"', music)
    music = _PLACEHOLDER.sub(lambda match: match.group(0) + ' visibility="hidden"', music)
    return clear(draw_signs(music))


def _options(paper: Paper, *, roll: bool, own_breaks: bool = False) -> dict[str, Any]:
    return {
        "breaks": "smart" if roll else "none",
        "breaksSmartSb": 0.01 if own_breaks else 0.6,
        "pageWidth": round((paper.width - 2 * paper.margin) * 10),
        "pageHeight": ROLL_HEIGHT,
        "pageMarginLeft": 0,
        "pageMarginRight": 0,
        "pageMarginTop": 0,
        "pageMarginBottom": 0,
        "header": "none",
        "footer": "none",
        "svgFormatRaw": True,
        "outputFormatRaw": True,
        "unit": UNIT,
        "lyricSize": 3.2,
        "lyricTopMinMargin": 1.5,
        "spacingStaff": 7,
        "spacingSystem": 3,
        "spacingLinear": 0.28,
        "fingeringScale": 0.72,
        "multiRestStyle": "block",
        "expandNever": True,
        "condense": "none",
    }
