"""Figures and words set round the music of a system, each clear of all others.

The order is the one in which they stand, from the staff outwards. Above: the fingerings of the upper or only
player, flags, then words, rehearsal letters and tempo. Below: the lower player's fingerings, then rows that
run straight through the system: partials for each player, slides. Last the staves are moved apart for it all.
Lengths are hundredths of a millimetre for a staff of 7 mm, and grow with the staff.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from lxml import etree

from annotator.engraving import faces
from annotator.engraving.figures import BESIDE, FIGURE, FLAG, KINDS, NUMBER, OTHER, ROW, Figures, Row
from annotator.engraving.ink import SVG, Ink, Piece, Tuplet, move, shifted
from annotator.engraving.lettering import Run, line
from annotator.engraving.skyline import Box, Skyline, union

# From a figure to what it stands over.
CLEAR = 45.0
# From the staff to the nearest figure, whatever there is on it.
FROM_STAFF = 130.0
ROW_FROM_STAFF = 190.0
WORDS_CLEAR = 70.0
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
            self._tuplet(tuplet)
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
            self._words(staff)
            self._hanging(staff, pushed=bool(below))
            self._rows(staff, mine)
        return self._apart()

    def _tuplet(self, tuplet: Tuplet) -> None:
        """A tuplet's number where no figure stands over or under it, so that nobody reads the two as one."""
        staff = tuplet.staff
        columns = [
            (box, figures, self._width(figures))
            for box, at, figures in self.notes
            if at == staff and tuplet.notes.left - 1 <= box.left <= tuplet.notes.right
        ]
        above = (tuplet.box.top + tuplet.box.bottom) / 2 < (self.ink.lines[staff][0] + self.ink.lines[staff][1]) / 2
        width = tuplet.box.right - tuplet.box.left
        middle = (tuplet.box.left + tuplet.box.right) / 2
        fingered = [upper for upper in (True, False) if any(f.below is not upper and w for _, f, w in columns)]
        # Beside figures a number reads as one of them: it goes where there are none, if its bracket lets it.
        sides = [above] if tuplet.bracket is not None else sorted((True, False), key=lambda up: (up in fingered, up is not above))
        side, at = above, middle
        if columns:
            for upper in sides:
                taken = self._taken(columns, upper=upper)
                gaps = _gaps(taken, tuplet.notes.left, tuplet.notes.right, width + 60 * self.k)
                if gaps:
                    side, at = upper, min(gaps, key=lambda gap: abs(gap - middle))
                    break
        self._set_tuplet(tuplet, side, at, moved=abs(at - middle) > 1 or side is not above)

    def _set_tuplet(self, tuplet: Tuplet, upper: bool, at: float, *, moved: bool) -> None:
        staff, box = tuplet.staff, tuplet.box
        middle = (box.left + box.right) / 2
        sky = self.up[staff] if upper else self.down[staff]
        dx, dy = at - middle, 0.0
        if moved and tuplet.bracket is None:
            level = sky.over(box.left + dx, box.right + dx)
            dy = level - CLEAR * self.k - box.bottom if upper else level + CLEAR * self.k - box.top
        move(tuplet.number, dx, dy)
        if moved and tuplet.bracket is not None:
            _gap_moved(tuplet.bracket, dx)
        now = box.moved(dx, dy)
        for line_ in (self.up[staff], self.down[staff]):
            line_.add(now)
        if tuplet.bracket is not None:
            for element in tuplet.bracket:
                points = [point.split(",") for point in element.get("points", "").split()]
                xs, ys = [float(x) for x, _ in points], [float(y) for _, y in points]
                if xs:
                    bracket = Box(min(xs), min(ys), max(xs), max(ys))
                    self.up[staff].add(bracket)
                    self.down[staff].add(bracket)

    def _taken(
        self, columns: list[tuple[Box, Figures, float]], *, upper: bool
    ) -> list[tuple[float, float]]:
        taken = []
        for box, figures, width in columns:
            middle = (box.left + box.right) / 2
            if upper != figures.below and width:
                taken.append((middle - width / 2, middle + width / 2))
            if not upper:
                for _, text in figures.rows:
                    half = faces.width(text, ROW * self.k) / 2
                    taken.append((middle - half, middle + half))
        return sorted(taken)

    def _width(self, figures: Figures) -> float:
        return max(
            faces.width(figures.valves, FIGURE * self.k, faces.BOLD),
            faces.width(f"({figures.other})", OTHER * self.k, faces.BOLD) if figures.other else 0.0,
        )

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

    def _words(self, staff: int) -> None:
        """Words above the staff raised over the figures; a letter and a tempo that meet stand side by side."""
        sky = self.up[staff]
        top = sum(self.ink.lines[staff]) / 2
        pieces = [piece for piece in self.ink.pieces if piece.staff == staff and piece.box.bottom <= top]
        letters = [piece for piece in pieces if piece.kind == "reh"]
        groups: list[list[Piece]] = []
        for piece in sorted(pieces, key=lambda piece: (-piece.box.bottom, piece.box.left)):
            letter = self._letter_at(piece, letters) if piece.kind == "tempo" else None
            if letter is not None:
                letters.remove(letter)
                groups = [group for group in groups if group != [letter]]
                groups.append([letter, piece])
            elif not any(piece in group for group in groups):
                groups.append([piece])
        for piece in pieces:
            piece.dx = min(0.0, self.ink.right - piece.box.right)
        groups = _letters_first(groups, self.ink.right, self.k)
        for group in groups:
            level = min(
                sky.over(piece.now.left - BESIDE * self.k, piece.now.right + BESIDE * self.k) - piece.now.bottom
                for piece in group
            )
            dy = level - WORDS_CLEAR * self.k
            for piece in group:
                piece.dy += min(dy, 0.0) if len(group) == 1 else dy
                move(piece.element, piece.dx, piece.dy)
                sky.add(piece.now)

    def _letter_at(self, tempo: Piece, letters: list[Piece]) -> Piece | None:
        """The rehearsal letter that stands at the same barline as a tempo."""
        near = 800 * self.k
        return next((letter for letter in letters if abs(letter.box.left - tempo.box.left) < near), None)

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
        for piece in pieces:
            piece.dy += dy
            move(piece.element, 0.0, dy)
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
            y = max(y, level + CLEAR * self.k + rise)
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
            union([*self.written, *(piece.now for piece in self.ink.pieces), *(box for boxes in self.ink.fixed for box in boxes)]),
            tuple(self.flags),
        )


def place(
    ink: Ink, figures: Mapping[str, Figures], rows: Sequence[Row], *, scale: float = 1.0, number: str = ""
) -> Placed:
    """The system with its figures, its rows (from the staff down) and the number of its first measure."""
    return _Placing(ink, figures, rows, scale).place(number)


def _gaps(taken: list[tuple[float, float]], left: float, right: float, width: float) -> list[float]:
    """The middles of the places between ``left`` and ``right`` where ``width`` is free."""
    found = []
    at = left - width
    for start, end in [*taken, (right + width, right + width)]:
        if start - at >= width:
            low, high = at + width / 2, start - width / 2
            middle = (left + right) / 2
            found.append(min(max(middle, low), high))
        at = max(at, end)
    return found


def _letters_first(groups: list[list[Piece]], right: float, k: float) -> list[list[Piece]]:
    """A tempo beside a rehearsal letter begins where the letter ends, on the letter's floor."""
    found = []
    for group in groups:
        if len(group) == 1:
            found.append(group)
            continue
        letter, tempo = group
        apart = letter.box.right + 150 * k - tempo.box.left
        # Where the tempo would run off the sheet, the letter goes before it.
        tempo.dx = max(0.0, min(apart, right - tempo.box.right)) if tempo.box.right < right else right - tempo.box.right
        letter.dx = min(0.0, tempo.dx - apart)
        # The words' line is that of the letter in its frame.
        tempo.dy = letter.box.bottom - 130 * k - (tempo.box.bottom - 85 * k)
        found.append(group)
    return found


def _gap_moved(bracket: Any, dx: float) -> None:
    """A bracket's gap moved with the number in it."""
    for element in bracket:
        points = [tuple(map(float, point.split(","))) for point in element.get("points", "").split()]
        if len(points) > 1:
            inner = max(range(len(points)), key=lambda index: index)
            points[inner] = (points[inner][0] + dx, points[inner][1])
            element.set("points", " ".join(f"{x:.0f},{y:.0f}" for x, y in points))

