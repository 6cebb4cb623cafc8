"""From a roll of systems to pages: where to cut, so that pages turn in rests.

Lengths are hundredths of a millimetre. Rests are in quarter notes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

from annotator.engraving.copy_source import Bar

# A page turns easily where a hand is free this long (quarter notes): about two bars of common time.
FREE_HAND = 8.0
# Against the 1.0 of one page more: a page is worth adding when the turn is in full flight.
TURN_COST = 2.5
# A page with this few systems looks like a mistake, and so does a last one with less music than this share.
FEW_SYSTEMS, FEW_COST = 2, 3.0
LEAST_FILL = 0.4
# How many pages are looked ahead before a page is cut.
AHEAD = 3
# Between two systems, from line to line at least, and from what hangs from one to what stands on the other.
SYSTEM_GAP, SYSTEM_CLEAR = 800.0, 160.0
# What is put between two systems at most where a page is not full: more would look torn.
MOST_AIR = 1400.0


@dataclass(frozen=True, slots=True)
class Shape:
    """A system as the page sees it. ``height``: from its first line to its last.

    ``up`` and ``down`` are how far it reaches beyond them. ``first`` is the index of its first measure.
    """

    height: float
    up: float
    down: float
    first: int


Gap = Callable[[int], float]
"""From a system's last line to the next one's first, at least."""


def free_time(split: int, bars: Sequence[Bar]) -> float:
    """The rest, in quarter notes, round the beginning of measure ``split``: a hand is free for so long."""
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


def first_cut(
    shapes: Sequence[Shape],
    gap: Gap,
    free: Callable[[int], float],
    rooms: tuple[float, float],
    *,
    right: bool,
    complete: bool,
) -> int:
    """How many of the systems go on the page that begins with the first of them.

    ``rooms``: the height for music on this page and on the later ones. ``free(n)``: the rest round the end
    of system n-1. ``right``: a right-hand page, after which a hand turns. ``complete``: the systems go on to
    the end of the part; else they are enough for ``AHEAD`` pages. Of all ways to cut the cheapest: white
    space costs by its square, few systems on a page cost, and a right-hand page that ends without a rest
    costs more the shorter the rest is.
    """

    @cache
    def best(start: int, right_hand: bool) -> tuple[float, int]:
        room = rooms[0] if start == 0 else rooms[1]
        choices: list[tuple[float, int]] = []
        used = shapes[start].up
        for end in range(start + 1, len(shapes) + 1):
            used += shapes[end - 1].height + (gap(end - 2) if end - 1 > start else 0.0)
            total = used + shapes[end - 1].down
            if total > room and end > start + 1:
                break
            few = FEW_COST if end - start <= FEW_SYSTEMS and (start > 0 or end < len(shapes)) else 0.0
            if end == len(shapes):
                # What comes after is not known, or nothing.
                choices.append((max(0.0, LEAST_FILL - total / room) * 2 + few if complete else 0.0, end))
                continue
            waste = max(0.0, room - total) / room
            turn = (1 - free(end) / FREE_HAND) * TURN_COST if right_hand else 0.0
            choices.append((1 + 4 * waste**2 + turn + few + best(end, not right_hand)[0], end))
        return min(choices)

    # From the back, so that the recursion never goes deeper than one call.
    for at in range(len(shapes) - 1, 0, -1):
        best(at, True)
        best(at, False)
    return best(0, right)[1]


def enough(shapes: Sequence[Shape], gap: Gap, room: float) -> bool:
    """Whether the systems fill ``AHEAD`` pages."""
    return sum(shape.height + gap(index) for index, shape in enumerate(shapes[:-1])) > AHEAD * room > 0


def filled(shapes: Sequence[Shape], gap: Gap) -> float:
    """The height that systems take up, one as near to the other as may be."""
    if not shapes:
        return 0.0
    between = sum(gap(index) for index in range(len(shapes) - 1))
    return shapes[0].up + sum(shape.height for shape in shapes) + between + shapes[-1].down


def spread(shapes: Sequence[Shape], gap: Gap, room: float, *, last: bool) -> list[float]:
    """Where each system's first line goes on its page, counted from the upper edge of the music.

    Space left over goes between the systems, as far as it looks well; on the ``last`` page less.
    """
    count = len(shapes)
    spare = max(0.0, room - filled(shapes, gap))
    extra = 0.0
    if count > 1 and not last:
        extra = min(spare / (count - 1), MOST_AIR)
    elif count > 1:
        extra = min(spare / count, SYSTEM_GAP / 2)
    places = []
    at = shapes[0].up if shapes else 0.0
    for index, shape in enumerate(shapes):
        places.append(at)
        at += shape.height + (gap(index) if index + 1 < count else 0.0) + extra
    return places
