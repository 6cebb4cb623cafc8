"""A part as a roll of systems, one under the other: laid out at once, each drawn when it is asked for.

Every system is checked before it is handed on: its numbers can be, its notes are all there, its ink is inside
the sheet. What the engraver cannot draw so is drawn otherwise: first without lyrics of its own, then without
beams; and refused if that does not help.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Set
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from lxml import etree

from annotator.engraving import mei
from annotator.engraving.copy_source import Copy
from annotator.engraving.ink import SVG, LostSums, parse_page, read_ink
from annotator.engraving.layout import SYSTEM_CLEAR, SYSTEM_GAP, Shape
from annotator.engraving.paper import STAND, Paper, Size
from annotator.engraving.placing import Placed, place
from annotator.errors import UnreadableScore

# So low that each system has a page of its own, in tenths of a millimetre.
_ONE_SYSTEM = 100
# Half the distance of two staff lines, as a share of the staff.
_UNIT = 1 / 8
# Tried in turn when the last system would hold a single measure: how wide notes are spaced.
_SPACINGS = (1.0, 0.93, 1.07, 0.87, 1.14, 0.8)
_SPACING = 0.30
# Ink may reach this far out of the music's width: the margin of the sheet holds it.
_OVERHANG = 0.8
# The engraver keeps tables shared by all its toolkits.
_LOCK = threading.Lock()

Again = Callable[[int], Copy]
"""The copy once more, drawn more plainly: 0 as it is, 1 without lyrics, 2 without beams."""
PLAINEST = 2


@dataclass(frozen=True, slots=True)
class System:
    """A system ready to be set on a page. ``svg`` hangs from the y of ``top``; ``glyphs`` are the signs it
    uses. ``flags`` are those printed on it."""

    svg: str
    glyphs: str
    placed: Placed
    shape: Shape
    flags: tuple[str, ...]

    @property
    def top(self) -> float:
        return self.placed.top


class Roll:
    """The systems of one part for one width of paper.

    ``exercises``: systems begin where the file says, and bars have no numbers (those in the captions are
    the part's).
    """

    def __init__(self, again: Again, sheet: Paper, size: Size, *, exercises: bool = False) -> None:
        self.plainness = 0
        self._again = again
        self._sheet, self._size, self._exercises = sheet, size, exercises
        self._load()

    def _load(self) -> None:
        import verovio  # noqa: PLC0415 - a large library, needed for sheets only

        self.copy = self._again(self.plainness)
        self._systems: dict[int, System] = {}
        self._gaps: dict[int, float] = {}
        self._staff_of: Mapping[str, int] = {}
        with _LOCK:
            verovio.enableLog(verovio.LOG_OFF)
            toolkit = verovio.toolkit(False)
            toolkit.setResourcePath(str(Path(verovio.__file__).parent / "data"))
            # Names inside the drawing are random otherwise; the same part shall give the same bytes.
            toolkit.resetXmlIdSeed(1)
            toolkit.setOptions(options(self._sheet, self._size, own_breaks=self._exercises))
            if not toolkit.loadData(self.copy.xml):
                raise UnreadableScore("the part cannot be engraved", part=self.copy.part_id)
            if len(self.copy.keys) > 1:
                root = mei.parse(toolkit.getMEI({"removeIds": False}))
                self._staff_of = mei.staves_of_signs(root)
                # The import gives all staves the keys of the first.
                if any(keys != self.copy.keys[0] for keys in self.copy.keys):
                    toolkit.loadData(mei.with_keys(root, self.copy.keys))
            self._toolkit = toolkit
            self._no_single_measure()

    def _no_single_measure(self) -> None:
        """Space the notes a little otherwise until the last system holds more than one measure."""
        if self._exercises:
            return
        for spacing in _SPACINGS[1:]:
            count = self._toolkit.getPageCount()
            if count < 2 or len(_measures(parse_page(self._toolkit.renderToSVG(count)))) > 1:
                return
            self._toolkit.setOptions({"spacingLinear": _SPACING * spacing})
            self._toolkit.redoLayout()

    @property
    def count(self) -> int:
        """How many systems there are; none when there is nothing to draw in the part."""
        return 0 if self._nothing else int(self._toolkit.getPageCount())

    @cached_property
    def _nothing(self) -> bool:
        if any(self.copy.notes):
            return False
        with _LOCK:
            return not _measures(parse_page(self._toolkit.renderToSVG(1)))

    def system(self, index: int) -> System:
        """System ``index``, from 0. Raises UnreadableScore when the engraver cannot draw it."""
        if index not in self._systems:
            self._systems[index] = self._draw(index)
        return self._systems[index]

    def redrawn(self, what: Callable[[], Any]) -> Any:
        """``what``, with the part drawn more plainly if the engraver loses its sums over it."""
        while True:
            try:
                return what()
            except LostSums as error:
                if self.plainness == PLAINEST:
                    raise UnreadableScore(
                        error.message, part=self.copy.part_id, measure=error.measure
                    ) from None
                self.plainness += 1
                self._load()

    def gap(self, index: int) -> float:
        """From the last line of system ``index`` to the first line of the next one, at least."""
        if index not in self._gaps:
            self._gaps[index] = self._gap(index)
        return self._gaps[index]

    def _gap(self, index: int) -> float:
        upper, lower = self.system(index).placed, self.system(index + 1).placed
        reach = max(
            under - upper.bottom + lower.top - over
            for under, over in zip(upper.below.heights, lower.above.heights, strict=False)
        )
        scale = self._size.scale
        return max(reach + SYSTEM_CLEAR * scale, SYSTEM_GAP * scale)

    def _draw(self, index: int) -> System:
        with _LOCK:
            drawn = self._toolkit.renderToSVG(index + 1)
        root = parse_page(drawn)
        system = next(
            (group for group in root.iter(f"{SVG}g") if "system" in (group.get("class") or "").split()), None
        )
        measures = _measures(root)
        if system is None or not measures:
            raise UnreadableScore("the part cannot be engraved", part=self.copy.part_id)
        first = int(measures[0][1:])
        bars = self.copy.bars
        numbered = 0 < first < len(bars) and not self._exercises
        number = bars[first].number if numbered else ""
        try:
            ink = read_ink(system, self._staff_of)
            self._all_there(measures, ink.notes)
            placed = place(ink, self.copy.figures, self.copy.rows, scale=self._size.scale, number=number)
            self._inside(placed)
        except LostSums as error:
            where = bars[first].number if first < len(bars) else ""
            raise LostSums(error.message, part=self.copy.part_id, measure=where) from None
        glyphs = "".join(
            etree.tostring(child, encoding="unicode", with_tail=False)
            for child in root.iterfind(f"{SVG}defs/*")
        )
        _stroked(system)
        svg = etree.tostring(system, encoding="unicode", with_tail=False)
        shape = Shape(
            placed.bottom - placed.top,
            placed.top - min(placed.above.heights),
            max(placed.below.heights) - placed.bottom,
            first,
        )
        return System(svg, glyphs, placed, shape, placed.flags)

    def _all_there(self, measures: list[str], notes: Set[str]) -> None:
        for name in measures:
            index = int(name[1:])
            missing = self.copy.notes[index] - notes if index < len(self.copy.notes) else ()
            if missing:
                raise LostSums("the engraver left out notes", measure=self.copy.bars[index].number)

    def _inside(self, placed: Placed) -> None:
        margin = self._sheet.margin * 100 * _OVERHANG
        width = (self._sheet.width - 2 * self._sheet.margin) * 100
        box = placed.extent
        if box.left < -margin or box.right > width + margin:
            raise LostSums("the engraver drew beyond the sheet")


def _measures(root: Any) -> list[str]:
    """The names of the measures in a drawing."""
    found = []
    for group in root.iter(f"{SVG}g"):
        name = group.get("id", "")
        if "measure" in (group.get("class") or "").split() and name[:1] == "m" and name[1:].isdigit():
            found.append(name)
    return found


def _stroked(system: Any) -> None:
    """Lines in the colour of the music. The engraver says so in a style, which a strict page forbids."""
    for kind in ("path", "polygon", "polyline", "rect", "ellipse"):
        for element in system.iter(f"{SVG}{kind}"):
            # A filled rectangle needs none, and a hyphen would become a blot.
            if kind == "rect" and "stroke-width" not in element.attrib:
                continue
            if "stroke" not in element.attrib and "transform" not in element.attrib:
                element.set("stroke", "currentColor")


def options(sheet: Paper, size: Size = STAND, *, own_breaks: bool = False) -> dict[str, Any]:
    """The engraver's options for music of this size on this sheet. Its lengths are tenths of a millimetre."""
    return {
        "breaks": "smart",
        "breaksSmartSb": 0.01 if own_breaks else 0.6,
        "pageWidth": round((sheet.width - 2 * sheet.margin) * 10),
        "pageHeight": _ONE_SYSTEM,
        "pageMarginLeft": 0,
        "pageMarginRight": 0,
        "pageMarginTop": 0,
        "pageMarginBottom": 0,
        "header": "none",
        "footer": "none",
        "svgFormatRaw": True,
        "outputFormatRaw": True,
        "unit": size.staff * 10 * _UNIT,
        "lyricSize": 3.2,
        "lyricTopMinMargin": 1.5,
        "spacingStaff": 4,
        "spacingLinear": _SPACING,
        "multiRestStyle": "block",
        "expandNever": True,
        "condense": "none",
    }
