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

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any
from xml.sax.saxutils import escape

from annotator.engraving import layout, legend, sheet
from annotator.engraving.copy_source import Copy, copy_part, parse, part_ids
from annotator.engraving.drawing import FACE
from annotator.engraving.one_player import Player
from annotator.engraving.paper import A4, STAND, Paper, Size, sheet_of
from annotator.engraving.printing import to_pdf
from annotator.engraving.roll import PLAINEST, Roll
from annotator.errors import BadOption


@dataclass(frozen=True, slots=True)
class _Page:
    """A page: systems ``start`` up to ``end`` of a part; its number in the part."""

    part: int
    start: int
    end: int
    number: int


class Engraving:
    """A file set on paper: every trumpet part of its report, one after the other.

    ``data``: a .musicxml, .xml or .mxl file, annotated or transposed. ``report``: its report
    (``crookline.report/1``); without one every part is set. ``kind``: ``annotated``, ``transposed`` or
    ``exercises`` (the words of the title block). ``part``: an id, to set this part only. ``size``: how large
    the music is; ``phone`` is one column that scrolls, whatever the paper. ``player``: whose name stands on
    every page. ``line``: set only this player's line (from 1, as the report counts) where several stand on a
    staff.

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
        size: Size = STAND,
        player: str = "",
        line: int = 0,
    ) -> None:
        if kind not in sheet.KINDS:
            raise BadOption(f"kind is {kind!r}; choose from {', '.join(sheet.KINDS)}", field="kind")
        self.paper = sheet_of(paper, size)
        self.size = size
        self.kind = kind
        self._data = data
        self._report = report or {}
        self._player, self._line = player, line
        self._instrument = instrument or _instrument_name(str(self._report.get("instrument", "")))
        self._root: Any = parse(data)
        there = part_ids(self._root)
        wanted = [str(one.get("id", "")) for one in self._report.get("parts", ())] or there
        if part:
            wanted = [part]
        self._parts = wanted
        self._rolls: dict[int, Roll] = {}
        # What cannot be read is said at once, not when a page is asked for.
        self._first: dict[int, Copy] = {}
        for index in range(len(wanted)):
            self._first[index] = self._copy(index, 0)
        self._cuts: dict[int, list[_Page]] = {}

    def _copy(self, index: int, plainness: int) -> Copy:
        """The part's copy, for the first time made when the file is read."""
        if plainness == 0 and index in self._first:
            return self._first[index]
        # A fresh tree each time but the first: making the copy moves elements out of it.
        root, self._root = self._root, None
        if root is None:
            root = parse(self._data)
        return copy_part(
            root,
            self._parts[index],
            breaks=self.kind == "exercises",
            words_off=plainness > 0,
            beams=plainness < PLAINEST,
            player=self._one_player(self._parts[index]),
        )

    def _one_player(self, part_id: str) -> Player | None:
        """The player of the line asked for; None for all. Raises BadOption."""
        if not self._line:
            return None
        for part in self._report.get("parts", ()):
            if part.get("id") == part_id:
                for rank, line in enumerate(part.get("lines", ())):
                    if line.get("line") == self._line:
                        return Player(frozenset(int(note["place"]) for note in line["notes"]), rank)
        raise BadOption(f"there is no line {self._line} in part {part_id}", field="line")

    def _roll(self, index: int) -> Roll:
        if index not in self._rolls:
            again = partial(self._copy, index)
            self._rolls[index] = Roll(again, self.paper, self.size, exercises=self.kind == "exercises")
        return self._rolls[index]

    def _pages_of(self, index: int, up_to: int | None = None) -> list[_Page]:
        """The pages of a part, cut as far as the page numbered ``up_to`` (None: all)."""
        roll = self._roll(index)

        def cut() -> list[_Page]:
            pages = self._cuts.setdefault(index, [])
            if pages and pages[0].end > roll.count:
                pages.clear()
            if roll.count == 0:
                return [_Page(index, 0, 0, 1)]
            while (up_to is None or len(pages) < up_to) and (not pages or pages[-1].end < roll.count):
                pages.append(self._next_page(index, pages[-1] if pages else None))
            return pages

        plainness = roll.plainness
        found: list[_Page] = roll.redrawn(cut)
        if roll.plainness != plainness:
            # Laid out anew, the systems are others.
            self._cuts[index] = []
            found = roll.redrawn(cut)
        return found

    def _next_page(self, index: int, before: _Page | None) -> _Page:
        roll = self._roll(index)
        start, number = (before.end, before.number + 1) if before else (0, 1)
        if not self.paper.height:
            for at in range(roll.count):
                roll.system(at)
            return _Page(index, 0, roll.count, 1)
        rooms = self._room(roll.copy, number), self._room(roll.copy, number + 1)
        shapes: list[layout.Shape] = []

        def gap(at: int) -> float:
            return roll.gap(start + at)

        while start + len(shapes) < roll.count and not layout.enough(shapes, gap, rooms[1]):
            shapes.append(roll.system(start + len(shapes)).shape)
        count = layout.first_cut(
            shapes,
            gap,
            lambda at: layout.free_time(shapes[at].first, roll.copy.bars),
            rooms,
            right=number % 2 == 1,
            complete=start + len(shapes) == roll.count,
        )
        return _Page(index, start, start + count, number)

    @cached_property
    def _pages(self) -> list[_Page]:
        return [page for index in range(len(self._parts)) for page in self._pages_of(index)]

    @property
    def page_count(self) -> int:
        """How many pages there are, of all parts together. Lays out every part."""
        return len(self._pages)

    def page(self, number: int) -> str:
        """Page ``number``, from 1, as an SVG document. Raises BadOption when there is no such page."""
        if number == 1:
            return self._compose(self._pages_of(0, 1)[0])
        if not 1 <= number <= self.page_count:
            raise BadOption(f"there is no page {number}; there are {self.page_count}", field="page")
        return self._compose(self._pages[number - 1])

    def outline(self) -> list[dict[str, Any]]:
        """What is on which page: ``part`` (its id), ``from`` (index of the first measure in the part) and
        ``measures``, the numbers of all its measures as the file has them."""
        found = []
        for page in self._pages:
            roll = self._roll(page.part)
            bars = roll.copy.bars
            first = roll.system(page.start).shape.first
            end = roll.system(page.end).shape.first if page.end < roll.count else len(bars)
            numbers = [bar.number for bar in bars[first:end]]
            found.append({"part": self._parts[page.part], "from": first, "measures": numbers})
        return found

    def pdf(self) -> bytes:
        """All pages as one PDF: vector, text as text, fonts embedded."""
        words = self._heading(0)
        title = " – ".join(piece for piece in (words.title, words.part, words.player) if piece)
        pages, heights = self.drawn()
        return to_pdf(pages, self.paper.width, heights, title=title, author=words.composer)

    def drawn(self) -> tuple[list[str], list[float]]:
        """Every page as an SVG document, and its height in millimeters."""
        pages = [self.page(number) for number in range(1, self.page_count + 1)]
        return pages, [self._height(page) / 100 for page in self._pages]

    def _heading(self, index: int) -> sheet.Heading:
        copy = self._first[index]
        return sheet.heading(self._report, copy, self.kind, instrument=self._instrument, player=self._player)

    def _entries(self, copy: Copy) -> list[legend.Entry]:
        return legend.entries(copy.figures, copy.rows, copy.marks, beams=copy.beams)

    @property
    def _width(self) -> float:
        return (self.paper.width - 2 * self.paper.margin) * 100

    def _head(self, copy: Copy, number: int) -> float:
        """What of a page is above the music."""
        if number > 1:
            return sheet.RUNNING_HEAD * self._scale
        index = self._parts.index(copy.part_id)
        return sheet.title_height(self._heading(index), self.paper, self._scale)

    def _foot(self, copy: Copy, number: int) -> float:
        below = sheet.FOOT * self._scale
        return below + (legend.height(self._entries(copy), self._width, self._scale) if number == 1 else 0.0)

    @property
    def _scale(self) -> float:
        return self.size.scale

    def _room(self, copy: Copy, number: int) -> float:
        """The height for music on a page, in hundredths of a millimetre."""
        whole = (self.paper.height - 2 * self.paper.margin) * 100
        return whole - self._head(copy, number) - self._foot(copy, number)

    def _height(self, page: _Page) -> float:
        """The height of a page: the paper's, or what a column takes."""
        if self.paper.height:
            return self.paper.height * 100
        roll = self._roll(page.part)
        shapes = [roll.system(at).shape for at in range(page.start, page.end)]
        music = layout.filled(shapes, lambda at: roll.gap(page.start + at))
        copy = roll.copy
        return music + self._head(copy, 1) + self._foot(copy, 1) + 2 * self.paper.margin * 100

    def _compose(self, page: _Page) -> str:
        roll = self._roll(page.part)
        copy, words, scale = roll.copy, self._heading(page.part), self._scale
        systems = [roll.system(at) for at in range(page.start, page.end)]
        height = self._height(page)
        head = self._head(copy, page.number)
        last = page.end == roll.count
        room = height - 2 * self.paper.margin * 100 - head - self._foot(copy, page.number)
        shapes = [system.shape for system in systems]
        gap: layout.Gap = lambda at: roll.gap(page.start + at)  # noqa: E731
        places = layout.spread(shapes, gap, room, last=last)
        # A system higher than its page is set smaller rather than cut.
        shrunk = min(1.0, room / max(layout.filled(shapes, gap), 1.0))
        music = "".join(
            f'<g transform="translate(0 {place - system.top:.0f})">{system.svg}</g>'
            for place, system in zip(places, systems, strict=True)
        )
        glyphs = "".join(dict.fromkeys(system.glyphs for system in systems))
        left, right = self.paper.margin * 100, (self.paper.width - self.paper.margin) * 100
        first = page.number == 1
        block = (
            sheet.title_block(words, self.paper, scale)
            if first
            else sheet.running_head(words, self.paper, page.number, scale)
        )
        below = self._below(page, height, left, right)
        label = escape(
            ", ".join(filter(None, (words.part or copy.part_id, words.player, f"page {page.number}")))
        )
        above = self.paper.margin * 100 + head
        smaller = f" scale({shrunk:.4f})" if shrunk < 1 else ""
        return (
            '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
            f'class="sheet" role="img" width="{self.paper.width:g}mm" height="{height / 100:g}mm" '
            f'viewBox="0 0 {self.paper.width * 100:.0f} {height:.0f}" '
            f'font-family="{FACE}" fill="currentColor" color="black">'
            f"<title>{label}</title><defs>{glyphs}</defs>{block}"
            f'<g class="music" transform="translate({left:.0f} {above:.0f}){smaller}">{music}</g>'
            f"{below}</svg>"
        )

    def _below(self, page: _Page, height: float, left: float, right: float) -> str:
        roll = self._roll(page.part)
        bottom = height - self.paper.margin * 100
        number = ""
        if self.paper.height:
            number = sheet.foot(self.paper, height, page.number, self._scale)
        if page.number > 1:
            return number
        entries = self._entries(roll.copy)
        rest = legend.LINE * self._scale * (len(legend.lines(entries, right - left, self._scale)) - 1)
        y = bottom - sheet.FOOT * self._scale + 150 * self._scale - rest
        return number + legend.drawn(entries, left, right, y, self._scale)

    def flags(self) -> Iterator[str]:
        """The flags that are printed, over all pages."""
        for page in self._pages:
            for at in range(page.start, page.end):
                yield from self._roll(page.part).system(at).flags


def _instrument_name(instrument_id: str) -> str:
    from annotator.instruments import load  # noqa: PLC0415 - only sheets need the words

    return load(instrument_id).name if instrument_id else "trumpet"
