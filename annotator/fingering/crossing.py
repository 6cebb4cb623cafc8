"""What a crossing costs before time is counted: fingers and partials, element by element."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log2

from annotator.fingering.model import Fingering
from annotator.fingering.profile import Profile
from annotator.instruments import tube
from annotator.instruments.model import FUNDAMENTAL

UNIT = 1000
"""Costs are whole thousandths of an awkwardness, so that sums are exact and plans comparable."""

FINGER_EXCHANGE = "finger exchange"
CONTRARY_MOTION = "contrary motion"
PARTIAL_SKIP = "partial skip"
LIP_SLUR = "lip slur"
CLOSE_PARTIALS = "close partials"
PARTIAL_CHANGE = "partial change"
FINGERS = "fingers"

_FINGER_KEYS = ("finger.first", "finger.second", "finger.third", "finger.fourth")
_EXCHANGE_KEYS = {
    (0, 1): "exchange.first-second",
    (0, 2): "exchange.first-third",
    (1, 2): "exchange.second-third",
}
_CLOSE_FROM_PARTIAL = 8


@dataclass(frozen=True, slots=True)
class Way:
    """A fingering of a pitch with what costs are made from.

    ``semitone`` of the written pitch, ``place`` among its candidates; ``mask`` has bit 0 for the first
    valve; ``tubing`` is what the valves lower by, in semitones; ``departure`` from the usual chart in
    thousandths, and ``flag_departure``, what of it counts when a crossing is graded.
    """

    fingering: Fingering
    semitone: int
    place: int
    mask: int
    tubing: int
    departure: int
    flag_departure: int

    @property
    def partial(self) -> int:
        return self.fingering.partial


@dataclass(frozen=True, slots=True)
class Element:
    """One thing that makes a crossing awkward: its name in the words of the trade, and thousandths."""

    reason: str
    cost: int


def thousandths(value: float) -> int:
    """A cost of the table as a whole number of thousandths."""
    return round(value * UNIT)


def elements(left: Way, reached: Way, slurred: bool, profile: Profile) -> tuple[Element, ...]:
    """Everything that makes the move from ``left`` to ``reached`` cost something, time left out."""
    found = [*_finger_elements(left.mask, reached.mask, profile)]
    if left.partial != reached.partial:
        found += _partial_elements(left, reached, slurred, profile)
    return tuple(element for element in found if element.cost)


def weight(left: Way, reached: Way, slurred: bool, profile: Profile) -> int:
    """The sum of ``elements``: thousandths at an urgency of 1."""
    return sum(element.cost for element in elements(left, reached, slurred, profile))


def _finger_elements(before: int, after: int, profile: Profile) -> list[Element]:
    down, up = _fingers(after & ~before), _fingers(before & ~after)
    moved = sum(thousandths(profile[_FINGER_KEYS[finger]]) for finger in down + up)
    found = [Element(FINGERS, moved)]
    if down and up:
        worst = max(
            thousandths(profile[_EXCHANGE_KEYS.get((min(a, b), max(a, b)), "exchange.fourth")])
            for a in down
            for b in up
        )
        further = thousandths(profile["exchange.further-finger"]) * (len(down) + len(up) - 2)
        found.append(Element(FINGER_EXCHANGE, worst + further))
    return found


def _partial_elements(left: Way, reached: Way, slurred: bool, profile: Profile) -> list[Element]:
    touch = "slurred" if slurred else "tongued"
    rise = reached.partial - left.partial
    between = len(partials_between(left, reached))
    found = [
        Element(PARTIAL_CHANGE, thousandths(profile[f"partial.{touch}"])),
        Element(PARTIAL_SKIP, between * thousandths(profile[f"skip.{touch}"])),
    ]
    if rise * (reached.tubing - left.tubing) > 0:
        direction = "rising-slurred" if rise > 0 else "falling-slurred"
        key = f"contrary.{direction if slurred else 'tongued'}"
        found.append(Element(CONTRARY_MOTION, thousandths(profile[key])))
    elif slurred and not between and reached.mask == left.mask:
        key = "lip-slur.rising" if rise > 0 else "lip-slur.falling"
        found.append(Element(LIP_SLUR, thousandths(profile[key])))
    if spacing(reached.partial) <= profile["close-partials.semitones"]:
        found.append(Element(CLOSE_PARTIALS, thousandths(profile[f"close-partials.{touch}"])))
    return found


def partials_between(left: Way, reached: Way) -> tuple[int, ...]:
    """Partials leapt over that, on the tube arrived at, sound between the two notes: they may speak."""
    low, high = sorted((left.semitone, reached.semitone))
    lower, upper = sorted((left.partial, reached.partial))
    return tuple(
        n
        for n in range(lower + 1, upper)
        if low + 0.5 < FUNDAMENTAL.semitone + 12 * log2(n) - reached.tubing < high - 0.5
    )


def spacing(n: int) -> float:
    """Semitones from partial ``n`` to its nearer neighbour; infinite below partial 8 (never close)."""
    if n < _CLOSE_FROM_PARTIAL:
        return float("inf")
    here = tube.partial_semitones(n)
    return min(here - tube.partial_semitones(n - 1), tube.partial_semitones(n + 1) - here)


def trill_weight(main: Way, other: Way, profile: Profile) -> int:
    """Thousandths that trilling between two ways costs; a good trill: one partial, one finger."""
    moved = _fingers(main.mask ^ other.mask)
    cost = thousandths(profile["trill.further-finger"]) * max(0, len(moved) - 1)
    if main.partial != other.partial:
        cost += thousandths(profile["trill.other-partial"])
        if (main.partial - other.partial) * (main.tubing - other.tubing) > 0:
            cost += thousandths(profile["trill.contrary"])
    if main.mask & ~other.mask and other.mask & ~main.mask:
        cost += thousandths(profile["trill.exchange"])
    if 2 in moved:
        cost += thousandths(profile["trill.third-finger"])
    return cost


def reasons(found: Sequence[Element]) -> tuple[str, ...]:
    """The reasons that weigh a quarter or more of the whole, heaviest first, and one at least.

    Moving fingers and changing the partial are in every crossing; they count as reasons where there
    is no other.
    """
    total = sum(element.cost for element in found)
    ranked = sorted(found, key=lambda element: -element.cost)
    named = [element for element in ranked if element.reason not in (FINGERS, PARTIAL_CHANGE)]
    heavy = [element.reason for element in named if 4 * element.cost >= total]
    return tuple(heavy or [element.reason for element in (named or ranked)[:1]])


def _fingers(mask: int) -> list[int]:
    return [finger for finger in range(4) if mask >> finger & 1]
