"""From one long roll of systems to pages: where to cut, so that pages turn in rests.

Lengths are the engraver's: hundredths of a millimetre. Rests are in quarter notes.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from annotator.engraving.copy_source import Bar

_SYSTEM = re.compile(r'<g id="[^"]*" class="system">')
_MEASURE = re.compile(r'<g id="m(\d+)" class="measure">')
_STAFF_LINES = re.compile(r'class="staff">((?:\s*<path [^>]*/>)+)')
_LINE = re.compile(r' d="M[-\d.]+ ([-\d.]+) ')
_GLYPH = re.compile(r"translate\([-\d.]+, ([-\d.]+)\)")
_TEXT = re.compile(r'<text [^>]*?\by="([-\d.]+)"')
# A path that is moved and scaled is a sign drawn beside letters, and counts where it is placed.
_PATH = re.compile(r'<path (?![^>]*transform=)[^>]*?\bd="(M[^"]*)"')
_POINT = re.compile(r"[-\d.]+[ ,]([-\d.]+)")
_POLYGON = re.compile(r' points="([^"]*)"')

# A glyph reaches this far above and below the point it is placed at (half a clef), a text this far up.
GLYPH_REACH = 360.0
TEXT_RISE = 330.0
LEAST_REACH = 500.0
# A page turns easily where a hand is free this long (quarter notes): about two bars of common time.
FREE_HAND = 8.0
# A last page with less than this share of music on it looks like a mistake.
LEAST_FILL = 0.4
# Against the 1.0 of one page more: a page is worth adding when the turn is in full flight.
TURN_COST = 1.2


@dataclass(frozen=True, slots=True)
class System:
    """A system cut out of the roll. ``top`` is its first staff's top line, ``bottom`` its last line.

    ``up`` and ``down`` are how far it reaches beyond them; ``gap`` is the distance from this system's
    ``bottom`` to the next one's ``top`` on the roll. ``first`` and ``last`` index its measures.
    """

    svg: str
    top: float
    bottom: float
    up: float
    down: float
    gap: float
    first: int
    last: int

    @property
    def height(self) -> float:
        return self.bottom - self.top


def cut(roll: str) -> tuple[str, list[System]]:
    """What stands before the systems of a roll (its glyphs), and the systems. Works on the SVG's text."""
    starts = [match.start() for match in _SYSTEM.finditer(roll)]
    if not starts:
        return roll, []
    # The last "</g>" closes the roll's own margin.
    ends = [*starts[1:], roll.rindex("</g>")]
    texts = [roll[start:end] for start, end in zip(starts, ends, strict=True)]
    lines = [_staff_lines(text) for text in texts]
    systems = []
    for index, (text, (top, bottom)) in enumerate(zip(texts, lines, strict=True)):
        highest, lowest = _reach(text)
        up = max(top - highest, LEAST_REACH)
        down = max(lowest - bottom, LEAST_REACH)
        gap = lines[index + 1][0] - bottom if index + 1 < len(lines) else down + LEAST_REACH
        numbers = [int(number) for number in _MEASURE.findall(text)] or [0]
        systems.append(System(text, top, bottom, up, down, gap, numbers[0], numbers[-1]))
    return roll[: starts[0]], systems


def _staff_lines(text: str) -> tuple[float, float]:
    ys = [float(y) for block in _STAFF_LINES.findall(text) for y in _LINE.findall(block)]
    return (min(ys), max(ys)) if ys else (0.0, 720.0)


def _reach(text: str) -> tuple[float, float]:
    highs: list[float] = []
    lows: list[float] = []
    for y in map(float, _GLYPH.findall(text)):
        highs.append(y - GLYPH_REACH)
        lows.append(y + GLYPH_REACH)
    for y in map(float, _TEXT.findall(text)):
        highs.append(y - TEXT_RISE)
        lows.append(y + TEXT_RISE / 3)
    for shape in _PATH.findall(text) + _POLYGON.findall(text):
        ys = [float(y) for y in _POINT.findall(shape)]
        highs.extend(ys)
        lows.extend(ys)
    return (min(highs), max(lows)) if highs else (0.0, 720.0)


def free_time(systems: list[System], index: int, bars: tuple[Bar, ...]) -> float:
    """The rest, in quarter notes, round the end of system ``index``: a hand is free for so long."""
    if index + 1 >= len(systems):
        return FREE_HAND
    split = systems[index + 1].first
    rest = 0.0
    for bar in reversed(bars[:split]):
        rest += bar.trail
        if bar.trail < bar.length or rest >= FREE_HAND:
            break
    for bar in bars[split:]:
        rest += bar.lead
        if bar.lead < bar.length or rest >= FREE_HAND:
            break
    return min(rest, FREE_HAND)


def pages(
    systems: list[System], bars: tuple[Bar, ...], first_height: float, height: float
) -> list[tuple[int, int]]:
    """The systems of each page, as (first, one past last).

    The cheapest of all ways to cut: white space costs by its square, and a right-hand page (the first,
    third, …) that ends without a rest costs more the shorter the rest is. A system too high for a page
    gets one of its own.
    """
    free = [free_time(systems, index, bars) for index in range(len(systems))]

    @cache
    def best(start: int, right: bool) -> tuple[float, int]:
        room = first_height if start == 0 else height
        choices = []
        used = 0.0
        for end in range(start + 1, len(systems) + 1):
            last = systems[end - 1]
            used += last.height if end - 1 == start else systems[end - 2].gap + last.height
            total = systems[start].up + used + last.down
            if total > room and end > start + 1:
                break
            if end == len(systems):
                choices.append((max(0.0, LEAST_FILL - total / room) * 2, end))
                continue
            # Half a page is the least a player turns for.
            waste = max(0.0, room - total) / room
            turn = (1 - free[end - 1] / FREE_HAND) * TURN_COST if right else 0.0
            choices.append((1 + 4 * waste**2 + turn + best_after(end, not right), end))
        return min(choices)

    def best_after(start: int, right: bool) -> float:
        return best(start, right)[0]

    cuts = []
    start, right = 0, True
    # From the back, so that the recursion above never goes deeper than one call.
    for at in range(len(systems) - 1, -1, -1):
        best(at, True)
        best(at, False)
    while start < len(systems):
        end = best(start, right)[1]
        cuts.append((start, end))
        start, right = end, not right
    return cuts


def spread(chosen: list[System], room: float, *, last: bool) -> list[float]:
    """Where each system's ``top`` goes on its page, counted from the page's upper edge of the music.

    Space left over goes between the systems, none below: unless the page is the ``last`` one, or more
    than a third of it is free.
    """
    used = chosen[0].up + sum(system.height for system in chosen)
    used += sum(system.gap for system in chosen[:-1]) + chosen[-1].down
    spare = max(0.0, room - used)
    extra = 0.0
    if len(chosen) > 1 and not last and spare < room / 3:
        extra = spare / (len(chosen) - 1)
    elif len(chosen) > 1:
        extra = min(spare / len(chosen), LEAST_REACH)
    places = []
    at = chosen[0].up
    for system in chosen:
        places.append(at)
        at += system.height + system.gap + extra
    return places
