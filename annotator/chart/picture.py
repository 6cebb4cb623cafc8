"""The fingering chart drawn: staff, note in both spellings, valves pressed, partial, how far it is off.

A drawing of our own. Every valve is seen from the side: a cap on its stem, high and hollow when up,
low and filled when pressed, so it reads without colour. Lengths are hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import escape

from annotator.engraving.drawing import FACE, signs, words
from annotator.engraving.glyphs import EM, sign
from annotator.engraving.paper import Paper
from annotator.instruments import Instrument
from annotator.pitch import Pitch

COLUMNS = 10
SPACE = 150.0  # between two staff lines
CLEF_ROOM = 900.0
HEAD = 1700.0
FOOT = 900.0
STRIP_GAP = 500.0
# From the middle of a column to each of the two spellings of a black key.
APART = 330.0
VALVES = 900.0  # height of the valves' drawing
BAR_REACH = 60.0  # cents at which the bar ends
BAR_HEIGHT = 1100.0
ALSO_LINE = 330.0
ALSO_LINES = 2

CLEF, WHOLE, SHARP, FLAT = "E050", "E0A2", "E262", "E260"
# An em is four staff spaces (SMuFL 1.4).
GLYPH_SCALE = SPACE * 4 / EM
TOP_LINE = Pitch("F", 0, 5)
BOTTOM_LINE = Pitch("E", 0, 4)

Row = Mapping[str, Any]


def picture(instrument: Instrument, rows: Sequence[Row], paper: Paper, *, cents: bool) -> str:
    """The whole chart on one sheet as high as it takes; ``cents``: with how far each note is off."""
    strips = list(_strips(rows))
    height = HEAD + FOOT + 2 * paper.margin * 100
    height += sum(_strip_height(strip, cents) + STRIP_GAP for strip in strips)
    return _sheet(_Sheet(instrument, strips, paper, height, cents))


def pages(instrument: Instrument, rows: Sequence[Row], paper: Paper, *, cents: bool) -> list[str]:
    """The chart on sheets of the paper's size."""
    height = paper.height * 100
    room = height - 2 * paper.margin * 100 - HEAD - FOOT
    sheets: list[list[Sequence[Row]]] = [[]]
    used = 0.0
    for strip in _strips(rows):
        needed = _strip_height(strip, cents) + STRIP_GAP
        if sheets[-1] and used + needed > room:
            sheets.append([])
            used = 0.0
        sheets[-1].append(strip)
        used += needed
    many = len(sheets) > 1
    return [
        _sheet(_Sheet(instrument, strips, paper, height, cents, f"{number} / {len(sheets)}" if many else ""))
        for number, strips in enumerate(sheets, start=1)
    ]


@dataclass(frozen=True, slots=True)
class _Sheet:
    instrument: Instrument
    strips: list[Sequence[Row]]
    paper: Paper
    height: float
    cents: bool
    number: str = ""


def _strips(rows: Sequence[Row]) -> Iterable[Sequence[Row]]:
    for start in range(0, len(rows), COLUMNS):
        yield rows[start : start + COLUMNS]


def _pitches(row: Row) -> list[Pitch]:
    """The spellings of a row's pitch."""
    return [Pitch.parse(name) for name in (row["written"], row["also_written"]) if name]


def _above(strip: Sequence[Row]) -> float:
    """Room over the staff's top line for notes on ledger lines, and for the clef."""
    highest = max(pitch.diatonic for row in strip for pitch in _pitches(row))
    return max(SPACE * 1.8, (highest - TOP_LINE.diatonic + 2) * SPACE / 2)


def _below(strip: Sequence[Row]) -> float:
    lowest = min(pitch.diatonic for row in strip for pitch in _pitches(row))
    return max(SPACE * 2, (BOTTOM_LINE.diatonic - lowest + 2) * SPACE / 2)


def _strip_height(strip: Sequence[Row], cents: bool) -> float:
    bar = BAR_HEIGHT + 250 if cents else 0.0
    return _above(strip) + 4 * SPACE + _below(strip) + 400 + VALVES + 1000 + bar + ALSO_LINE * ALSO_LINES


def _sheet(of: _Sheet) -> str:
    instrument, paper, height = of.instrument, of.paper, of.height
    width = paper.width * 100
    left, right = paper.margin * 100, width - paper.margin * 100
    y = paper.margin * 100
    first, last = of.strips[0][0], of.strips[-1][-1]
    parts = [
        words(left, y + 550, 560, f"Fingering chart: {instrument.name}", weight="bold", room=right - left),
        words(
            left,
            y + 1050,
            320,
            f"written {signs(first['written'])} to {signs(last['written'])}; "
            "partials in use: " + ", ".join(str(partial) for partial in instrument.partials),
        ),
    ]
    y += HEAD
    for strip in of.strips:
        parts.append(_strip(strip, left, right, y, valves=instrument.valve_count, cents=of.cents))
        y += _strip_height(strip, of.cents) + STRIP_GAP
    parts.append(_key(left, height - paper.margin * 100 - 350, right - left, cents=of.cents))
    if of.number:
        parts.append(words(right, height - paper.margin * 100, 290, of.number, anchor="end"))
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" class="chart" role="img" '
        f'width="{width / 100:g}mm" height="{height / 100:g}mm" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'font-family="{FACE}" fill="currentColor" color="black">'
        f"<title>Fingering chart of the {escape(instrument.name)}</title>{''.join(parts)}</svg>"
    )


def _strip(strip: Sequence[Row], left: float, right: float, y: float, *, valves: int, cents: bool) -> str:
    top = y + _above(strip)
    column = (right - left - CLEF_ROOM) / COLUMNS
    end = left + CLEF_ROOM + column * len(strip)
    parts = [
        f'<path d="M{left:.0f} {top + line * SPACE:.0f} H{end:.0f}" stroke="currentColor" stroke-width="14"/>'
        for line in range(5)
    ]
    parts.append(_glyph(CLEF, left + 80, top + 3 * SPACE))
    for index, row in enumerate(strip):
        middle = left + CLEF_ROOM + column * (index + 0.5)
        cell = _Cell(column, _below(strip), valves, cents)
        parts.append(_cell(row, middle, top, cell))
    return f"<g>{''.join(parts)}</g>"


@dataclass(frozen=True, slots=True)
class _Cell:
    """What all cells of a strip have in common: their width, the room under the staff, the valves."""

    column: float
    below: float
    valves: int
    cents: bool


def _cell(row: Row, x: float, top: float, cell: _Cell) -> str:
    y = top + 4 * SPACE + cell.below
    pitches = _pitches(row)
    places = [x] if len(pitches) == 1 else [x - APART, x + APART]
    parts = [_note(pitch, place, top) for pitch, place in zip(pitches, places, strict=True)]
    name = " ".join(signs(pitch.name) for pitch in pitches)
    parts.append(words(x, y + 250, 290, name, anchor="middle", room=cell.column))
    y += 400
    if row["fingering"] is None:
        return "".join([*parts, words(x, y + 500, 280, "out of reach", anchor="middle")])
    pressed = {int(valve) for valve in row["fingering"].split("-")}
    parts.append(_caps(pressed, x, y, cell.valves))
    y += VALVES
    parts.append(words(x, y + 370, 360, row["fingering"], anchor="middle", weight="bold"))
    parts.append(words(x, y + 770, 280, f"partial {row['partial']}", anchor="middle"))
    y += 1000
    if cell.cents:
        parts.append(_cents(row["cents"], x, y, cell.column))
        y += BAR_HEIGHT + 250
    near = [way for way in row["alternates"] if abs(way["cents"]) <= BAR_REACH]
    for way in near[:ALSO_LINES]:
        off = f", {_amount(way['cents'])}" if cell.cents else ""
        also = f"{way['fingering']} on {way['partial']}{off}"
        parts.append(words(x, y + 200, 240, also, anchor="middle", room=cell.column * 0.95))
        y += ALSO_LINE
    return f'<g class="cell">{"".join(parts)}</g>'


def _note(pitch: Pitch, x: float, top: float) -> str:
    y = top + (TOP_LINE.diatonic - pitch.diatonic) * SPACE / 2
    parts = []
    wide = 230.0
    for line in range(-1, -20, -1):  # above the staff
        at = top + line * SPACE
        if at < y - 1:
            break
        parts.append(_ledger(x, at, wide))
    for line in range(5, 20):  # below it
        at = top + line * SPACE
        if at > y + 1:
            break
        parts.append(_ledger(x, at, wide))
    parts.append(_glyph(WHOLE, x - 127, y))
    if pitch.alter:
        parts.append(_glyph(SHARP if pitch.alter > 0 else FLAT, x - 330, y))
    return "".join(parts)


def _ledger(x: float, y: float, half: float) -> str:
    return f'<path d="M{x - half:.0f} {y:.0f} h{2 * half:.0f}" stroke="currentColor" stroke-width="22"/>'


def _caps(pressed: set[int], x: float, y: float, valves: int) -> str:
    """The valves from the side: cap, stem, and the casing they stand in."""
    step, cap = 300.0, 210.0
    start = x - step * (valves - 1) / 2
    casing = y + 520
    parts = []
    for valve in range(1, valves + 1):
        at = start + step * (valve - 1)
        down = valve in pressed
        head = casing - 130 if down else y + 60
        fill = "currentColor" if down else "none"
        parts.append(
            f'<rect x="{at - cap / 2:.0f}" y="{head:.0f}" width="{cap:.0f}" height="90" rx="45" '
            f'fill="{fill}" stroke="currentColor" stroke-width="24"/>'
        )
        if not down:
            parts.append(
                f'<path d="M{at:.0f} {head + 90:.0f} V{casing:.0f}" stroke="currentColor" stroke-width="24"/>'
            )
        parts.append(
            f'<path d="M{at - 95:.0f} {casing:.0f} h190 v300 h-190 z" fill="{fill}" fill-opacity="0.25" '
            f'stroke="currentColor" stroke-width="24"/>'
        )
    return f'<g class="valves">{"".join(parts)}</g>'


def _cents(cents: float, x: float, y: float, column: float) -> str:
    """A bar up for sharp, down for flat, from a line that means in tune; the figure beside it."""
    zero = y + BAR_HEIGHT / 2
    reach = max(-1.0, min(1.0, cents / BAR_REACH)) * BAR_HEIGHT / 2
    upper, height = (zero - reach, reach) if reach >= 0 else (zero, -reach)
    parts = [
        f'<path d="M{x - column * 0.36:.0f} {zero:.0f} H{x + column * 0.36:.0f}" '
        f'stroke="currentColor" stroke-width="14"/>'
    ]
    if round(cents) != 0:
        hollow = cents < 0
        parts.append(
            f'<rect x="{x - 110:.0f}" y="{upper:.0f}" width="220" height="{height:.0f}" '
            f'fill="{"none" if hollow else "currentColor"}" stroke="currentColor" stroke-width="20"/>'
        )
    # The figure stands on the side of the line where the bar is not.
    at = zero + 300 if cents >= 0 else zero - 110
    parts.append(words(x, at, 260, _amount(cents), anchor="middle"))
    return "".join(parts)


def _key(x: float, y: float, room: float, *, cents: bool) -> str:
    first = "0 = open. Filled and low: press this valve."
    second = "Under the partial: other ways, each with its partial."
    if cents:
        first += (
            " Bar: cents off equal temperament before slides and lip; up and filled is sharp, "
            "down and hollow is flat."
        )
        second = f"Under the bar: other ways, with their partial and cents (up to {BAR_REACH:.0f} off)."
    return words(x, y, 270, first, room=room) + words(x, y + 340, 270, second, room=room)


def _amount(cents: float) -> str:
    return f"{round(cents):+d}".replace("-", "−") if round(cents) else "0"


def _glyph(code: str, x: float, y: float) -> str:
    return sign(code, x, y, GLYPH_SCALE)
