"""Figures and words set round the music of a system, each clear of all others.

The order is the one in which they stand, from the staff outwards. Above: the fingerings of the upper or only
player, flags, then words, rehearsal letters and tempo. Below: the lower player's fingerings, then rows that
run straight through the system: partials for each player, slides. Last the staves are moved apart for it all.
Lengths are hundredths of a millimetre for a staff of 7 mm, and grow with the staff.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from lxml import etree

from annotator.engraving import faces
from annotator.engraving.figures import BESIDE, CLEAR, FIGURE, FLAG, KINDS, NUMBER, OTHER, ROW, Figures, Row
from annotator.engraving.ink import SVG, Ink, Tuplet, move, shifted
from annotator.engraving.lettering import Run, line
from annotator.engraving.skyline import Box, Skyline, union
from annotator.engraving.tuplets import Column, place_number
from annotator.engraving.words_above import WORDS_CLEAR, raise_words

# From the staff to the nearest figure, whatever there is on it.
FROM_STAFF = 130.0
ROW_FROM_STAFF = 190.0
ROW_CLEAR = 80.0
# Between one staff and the next, at least; and between what hangs from the one and stands on the other.
STAFF_GAP, STAFF_CLEAR = 480.0, 110.0
# A crossing flagged this few bars ago is not flagged again: the figure is being repeated.
REPEATED_WITHIN = 2
# What reaches this far out of the system to the left and right is still in the outline.
_OVERHANG = 600.0


@dataclass(frozen=True, slots=True)
class Placed:
    """A system with all its figures. ``above`` and ``below``: the outline of it all. ``top`` and ``bottom``:
    its first staff's top line and its last one's bottom line. ``flags``: the flags that were printed."""

    ink: Ink
    top: float
    bottom: float
    above: Skyline
    below: Skyline
    extent: Box
    flags: tuple[str, ...]


class _Placing:
    def __init__(self, ink: Ink, figures: Mapping[str, Figures], rows: Sequence[Row], scale: float) -> None:
        self.ink = ink
        self.figures = figures
        self.rows = rows
        self.k = scale
        self.flags: list[str] = []
        self.staff = 0
        self.written = [Box(0.0, ink.lines[0][0], ink.right, ink.lines[-1][1])]
        reach = (-_OVERHANG, ink.right + _OVERHANG)
        self.up = [Skyline(*reach, top, up=True) for top, _ in ink.lines]
        self.down = [Skyline(*reach, bottom, up=False) for _, bottom in ink.lines]
        for staff, boxes in enumerate(ink.fixed):
            for box in boxes:
                self.up[staff].add(box)
                self.down[staff].add(box)
        self.notes = sorted(
            ((box, staff, figures[name]) for name, (box, staff) in ink.heads.items() if name in figures),
            key=lambda item: (item[0].left, -item[0].top),
        )

    def place(self, number: str) -> Placed:
        for tuplet in self.ink.tuplets:
            place_number(
                tuplet, self._columns(tuplet), self.ink.lines[tuplet.staff], self.sides(tuplet.staff)
            )
        for staff in range(len(self.ink.lines)):
            self.staff = staff
            mine = [(box, figures) for box, at, figures in self.notes if at == staff]
            above = [(box, figures) for box, figures in mine if not figures.below]
            below = [(box, figures) for box, figures in mine if figures.below]
            self._fingerings(staff, above, up=True)
            self._fingerings(staff, below, up=False)
            self._flags(staff, mine)
            if staff == 0 and number:
                self._number(number)
            raise_words(self.ink, staff, self.up[staff], self.k)
            self._hanging(staff, pushed=bool(below))
            self._rows(staff, mine)
        return self._apart()

    def sides(self, staff: int) -> dict[bool, Skyline]:
        """The outlines above (True) and below a staff."""
        return {True: self.up[staff], False: self.down[staff]}

    def _columns(self, tuplet: Tuplet) -> list[Column]:
        """What figures stand over and under the notes of a tuplet."""
        found = []
        for box, staff, figures in self.notes:
            if staff == tuplet.staff and tuplet.notes.left - 1 <= box.left <= tuplet.notes.right:
                middle = (box.left + box.right) / 2
                other = f"({figures.other})" if figures.other else ""
                width = max(
                    faces.width(figures.valves, FIGURE * self.k, faces.BOLD),
                    faces.width(other, OTHER * self.k, faces.BOLD),
                )
                if width:
                    found.append(Column(middle, width, not figures.below, False))
                for _, text in figures.rows:
                    found.append(Column(middle, faces.width(text, ROW * self.k), False, True))
        return found

    def _fingerings(self, staff: int, notes: list[tuple[Box, Figures]], *, up: bool) -> None:
        sky = self.up[staff] if up else self.down[staff]
        top, bottom = self.ink.lines[staff]
        for box, figures in notes:
            middle = (box.left + box.right) / 2
            stack = [(figures.valves, FIGURE), (f"({figures.other})" if figures.other else "", OTHER)]
            for words, size in [(words, size * self.k) for words, size in stack if words]:
                half = faces.width(words, size, faces.BOLD) / 2
                rise = faces.rise(words, size, faces.BOLD)
                level = sky.over(middle - half - BESIDE * self.k, middle + half + BESIDE * self.k)
                if up:
                    y = min(level - CLEAR * self.k, top - FROM_STAFF * self.k)
                else:
                    y = max(level + CLEAR * self.k, bottom + FROM_STAFF * self.k) + rise
                placed = Box(middle - half, y - rise, middle + half, y)
                sky.add(placed)
                self._write(placed, y, (words, size, faces.BOLD), "fing")

    def _flags(self, staff: int, notes: list[tuple[Box, Figures]]) -> None:
        sky = self.up[staff]
        size = FLAG * self.k
        seen: dict[tuple[str, ...], int] = {}
        for box, figures in notes:
            if not figures.flag:
                continue
            before = seen.get(figures.crossing)
            seen[figures.crossing] = figures.measure
            if before is not None and figures.measure - before <= REPEATED_WITHIN:
                continue
            self.flags.append(figures.flag)
            width = faces.width(figures.flag, size, faces.BOLD)
            left = max(0.0, min((box.left + box.right) / 2 - 0.15 * size, self.ink.right - width))
            rise = faces.rise(figures.flag, size, faces.BOLD)
            fall = faces.fall(figures.flag, size, faces.BOLD)
            level = sky.over(left - 3 * BESIDE * self.k, left + width + 3 * BESIDE * self.k)
            y = level - WORDS_CLEAR * self.k - fall
            placed = Box(left, y - rise, left + width, y + fall)
            sky.add(placed)
            self._write(placed, y, (figures.flag, size, faces.BOLD), "dir crossing", anchor="start")

    def _number(self, number: str) -> None:
        """The number of the system's first measure, over the clef."""
        size = NUMBER * self.k
        width = faces.width(number, size, faces.ITALIC)
        rise = faces.rise(number, size, faces.ITALIC)
        left = min((box.left for _, box in self.ink.measures), default=0.0)
        y = self.up[0].over(left, left + width + BESIDE) - CLEAR * self.k
        placed = Box(left, y - rise, left + width, y)
        self.up[0].add(placed)
        self._write(placed, y, (number, size, faces.ITALIC), "mNum", anchor="start")

    def _hanging(self, staff: int, *, pushed: bool) -> None:
        """Dynamics and words below the staff: as the engraver has them, or all lower by what figures need."""
        sky = self.down[staff]
        middle = sum(self.ink.lines[staff]) / 2
        pieces = [piece for piece in self.ink.pieces if piece.staff == staff and piece.box.bottom > middle]
        dy = 0.0
        if pushed:
            for piece in pieces:
                level = sky.over(piece.box.left - BESIDE * self.k, piece.box.right + BESIDE * self.k)
                dy = max(dy, level + CLEAR * self.k - piece.box.top)
        for piece in sorted(pieces, key=lambda piece: piece.box.top):
            piece.dy += dy
            if piece.kind == "dir":
                # The engraver sets words near the staff, whatever hangs from it there.
                piece.dx = min(0.0, self.ink.right - piece.box.right)
                level = sky.over(piece.now.left, piece.now.right) + CLEAR * self.k
                piece.dy += max(0.0, level - piece.now.top)
            move(piece.element, piece.dx, piece.dy)
            sky.add(piece.now)

    def _rows(self, staff: int, notes: list[tuple[Box, Figures]]) -> None:
        used = {row for _, figures in notes for row, _ in figures.rows}
        partials = [row for row in self.rows if row[0] == "partial" and row in used]
        for row in self.rows:
            if row not in used:
                continue
            label = ""
            if row in partials and len(partials) > 1:
                label = f"{1 + partials.index(row)}."
            items = [
                ((box.left + box.right) / 2, text)
                for box, figures in notes
                for at, text in figures.rows
                if at == row
            ]
            self._row(staff, row, items, label)

    def _row(self, staff: int, row: Row, items: list[tuple[float, str]], label: str) -> None:
        """Texts on one line, each centred on its note; what would run into the one before stands lower."""
        sky, size = self.down[staff], ROW * self.k
        boxes: list[tuple[Box, str, int]] = []
        ends = [float("-inf"), float("-inf")]
        rise = max(faces.rise(text, size) for _, text in items)
        y = self.ink.lines[staff][1] + ROW_FROM_STAFF * self.k + rise
        for middle, text in sorted(items):
            half = faces.width(text, size) / 2
            level = sky.over(middle - half - BESIDE * self.k, middle + half + BESIDE * self.k)
            y = max(y, level + ROW_CLEAR * self.k + rise)
            tier = 0 if middle - half >= ends[0] + BESIDE * self.k / 2 else 1
            if tier and middle - half < ends[1] + BESIDE * self.k / 2 and ends[0] < ends[1]:
                tier = 0
            ends[tier] = middle + half
            boxes.append((Box(middle - half, -rise, middle + half, faces.fall(text, size)), text, tier))
        name = "verse " + (row[0] if row[0] in KINDS else "partial")
        for box, text, tier in boxes:
            at = y + tier * (rise + CLEAR * self.k)
            placed = box.moved(0.0, at)
            sky.add(placed)
            self._write(placed, at, (text, size, faces.REGULAR), name)
        if label:
            left = min((box.left for _, box in self.ink.measures), default=0.0)
            width = faces.width(label, size, faces.ITALIC)
            first = boxes[0][0].left
            left = min(left + 60 * self.k, first - width - BESIDE * self.k)
            placed = Box(left, y - rise, left + width, y)
            sky.add(placed)
            self._write(placed, y, (label, size, faces.ITALIC), "player", anchor="start")

    def _write(self, box: Box, y: float, run: Run, name: str, anchor: str = "middle") -> None:
        self.written.append(box)
        group = etree.SubElement(self.ink.system, f"{SVG}g", {"class": name})
        x = box.left if anchor == "start" else (box.left + box.right) / 2
        group.append(line(x, y, [run], anchor))
        self.ink.staff_groups.append((group, self.staff))

    def _apart(self) -> Placed:
        """The staves moved apart by what stands between them."""
        shifts = [0.0]
        for upper in range(len(self.ink.lines) - 1):
            lower = upper + 1
            pairs = zip(self.down[upper].heights, self.up[lower].heights, strict=True)
            room = min(over - under for under, over in pairs)
            distance = self.ink.lines[lower][0] - self.ink.lines[upper][1]
            needed = max(STAFF_CLEAR * self.k - room, STAFF_GAP * self.k - distance)
            shifts.append(shifts[-1] + needed)
        for piece in self.ink.pieces:
            if shifts[piece.staff]:
                move(piece.element, 0.0, shifts[piece.staff])
        shifted(self.ink, shifts)
        below = self.down[-1]
        below.heights = [height + shifts[-1] for height in below.heights]
        return Placed(
            self.ink,
            self.ink.lines[0][0],
            self.ink.lines[-1][1] + shifts[-1],
            self.up[0],
            below,
            self._extent(),
            tuple(self.flags),
        )

    def _extent(self) -> Box:
        pieces = [piece.now for piece in self.ink.pieces]
        return union([*self.written, *pieces, *(box for boxes in self.ink.fixed for box in boxes)])


def place(
    ink: Ink, figures: Mapping[str, Figures], rows: Sequence[Row], *, scale: float = 1.0, number: str = ""
) -> Placed:
    """The system with its figures, its rows (from the staff down) and the number of its first measure."""
    return _Placing(ink, figures, rows, scale).place(number)
