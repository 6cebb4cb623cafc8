"""What a crossing costs, element by element: fingers and partials, each a weight times an amount.

Every element names its key in the cost table, so that the cost of a plan is a sum of weights times
counts (``features.py``).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from math import log2
from typing import NamedTuple

from annotator.fingering.model import Way
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
WIDE_LEAP = "wide leap"
ALTERNATION = "alternation"
"""Two notes in turn, fast and slurred: as hard as the trill on them."""
TRILL = "trill"
FIGURE = "figure"
"""Two fingerings of one pitch in a figure; never a reason of its own."""
DEPARTURE = "departure"
"""What a fingering off the chart costs; no reason either."""

_FINGER_KEYS = ("finger.first", "finger.second", "finger.third", "finger.fourth")
_EXCHANGE_KEYS = {
    (0, 1): "exchange.first-second",
    (0, 2): "exchange.first-third",
    (1, 2): "exchange.second-third",
}
_CLOSE_FROM_PARTIAL = 8
_OCTAVE, _TONE = 12, 2
_HIGH_PARTIAL = 8


class Element(NamedTuple):
    """One thing that makes a crossing or an ornament cost something.

    ``reason`` in the words of the trade; ``key`` its weight in the cost table, taken ``amount`` times.
    ``steady``: time does not take it away, so urgency does not multiply it.
    """

    reason: str
    key: str
    amount: float = 1
    steady: bool = False

    def cost(self, profile: Profile) -> int:
        """Thousandths of an awkwardness, urgency left out."""
        return thousandths(profile[self.key] * self.amount)


def thousandths(value: float) -> int:
    """A cost of the table as a whole number of thousandths."""
    return round(value * UNIT)


def elements(left: Way, reached: Way, slurred: bool, profile: Profile) -> tuple[Element, ...]:
    """Everything that makes the move from ``left`` to ``reached`` cost something, time left out."""
    found = [*_finger_elements(left.mask, reached.mask, profile)]
    if left.partial != reached.partial:
        found += _partial_elements(left, reached, slurred, profile)
        found += _leap_elements(left, reached, slurred, profile)
    if left.semitone == reached.semitone and left.place != reached.place:
        found.append(Element(FIGURE, "figure.change", steady=True))
    return tuple(element for element in found if element.cost(profile))


def _finger_elements(before: int, after: int, profile: Profile) -> list[Element]:
    down, up = _fingers(after & ~before), _fingers(before & ~after)
    found = [Element(FINGERS, _FINGER_KEYS[finger]) for finger in (*down, *up)]
    if down and up:
        pairs = [_EXCHANGE_KEYS.get((min(a, b), max(a, b)), "exchange.fourth") for a in down for b in up]
        found.append(Element(FINGER_EXCHANGE, max(pairs, key=profile.__getitem__)))
        found.append(Element(FINGER_EXCHANGE, "exchange.further-finger", len(down) + len(up) - 2))
    return found


def _partial_elements(left: Way, reached: Way, slurred: bool, profile: Profile) -> Iterator[Element]:
    touch = "slurred" if slurred else "tongued"
    rise = reached.partial - left.partial
    between = len(partials_between(left, reached))
    yield Element(PARTIAL_CHANGE, f"partial.{touch}")
    yield Element(PARTIAL_SKIP, f"skip.{touch}", between)
    if rise * (reached.tubing - left.tubing) > 0:
        direction = "rising-slurred" if rise > 0 else "falling-slurred"
        yield Element(CONTRARY_MOTION, f"contrary.{direction if slurred else 'tongued'}")
        if slurred and min(left.partial, reached.partial) == 2:
            yield Element(CONTRARY_MOTION, "contrary.lowest-slurred")
    elif slurred and not between and reached.mask == left.mask:
        yield Element(LIP_SLUR, "lip-slur.rising" if rise > 0 else "lip-slur.falling")
    if spacing(reached.partial) <= profile["close-partials.semitones"]:
        yield Element(CLOSE_PARTIALS, f"close-partials.{touch}")


def _leap_elements(left: Way, reached: Way, slurred: bool, profile: Profile) -> Iterator[Element]:
    """A wide slur, and a leap over many partials, have a difficulty that time does not take away."""
    between = len(partials_between(left, reached))
    if slurred and abs(reached.semitone - left.semitone) >= _OCTAVE:
        direction = "rising" if reached.semitone > left.semitone else "falling"
        yield Element(WIDE_LEAP, f"leap.octave-{direction}", steady=True)
        yield Element(WIDE_LEAP, f"leap.partial-{direction}", between, steady=True)
    elif not slurred and abs(reached.semitone - left.semitone) >= _OCTAVE:
        further = between - round(profile["leap.free-partials"])
        if further > 0:
            yield Element(WIDE_LEAP, "leap.partial-tongued", further, steady=True)


@lru_cache(maxsize=65536)
def partials_between(left: Way, reached: Way) -> tuple[int, ...]:
    """Partials leapt over that, on the tube arrived at, sound between the two notes: they may speak."""
    low, high = sorted((left.semitone, reached.semitone))
    lower, upper = sorted((left.partial, reached.partial))
    return tuple(
        n
        for n in range(lower + 1, upper)
        if low + 0.5 < FUNDAMENTAL.semitone + 12 * log2(n) - reached.tubing < high - 0.5
    )


@lru_cache(maxsize=64)
def spacing(n: int) -> float:
    """Semitones from partial ``n`` to its nearer neighbour; infinite below partial 8 (never close)."""
    if n < _CLOSE_FROM_PARTIAL:
        return float("inf")
    here = tube.partial_semitones(n)
    return min(here - tube.partial_semitones(n - 1), tube.partial_semitones(n + 1) - here)


def trill_elements(main: Way, other: Way) -> tuple[Element, ...]:
    """What trilling between two ways costs. A good trill: one partial, one finger; or, high up, the lip."""
    if is_lip_trill(main, other):
        return (Element(TRILL, "trill.lip"),)
    moved = _fingers(main.mask ^ other.mask)
    found = [Element(TRILL, "trill.further-finger", max(0, len(moved) - 1))]
    if main.partial != other.partial:
        found.append(Element(TRILL, "trill.other-partial"))
        if (main.partial - other.partial) * (main.tubing - other.tubing) > 0:
            found.append(Element(TRILL, "trill.contrary"))
    if main.mask & ~other.mask and other.mask & ~main.mask:
        strong = max(moved, default=0) < 2
        found.append(Element(TRILL, "trill.exchange-first-second" if strong else "trill.exchange"))
    if 2 in moved:
        found.append(Element(TRILL, "trill.third-finger"))
    return tuple(found)


def is_lip_trill(main: Way, other: Way) -> bool:
    """A whole tone between neighbouring partials from 8 up on one fingering: the lips do it alone."""
    return (
        main.mask == other.mask
        and min(main.partial, other.partial) >= _HIGH_PARTIAL
        and abs(main.partial - other.partial) == 1
        and abs(main.semitone - other.semitone) == _TONE
    )


def is_clean_trill(main: Way, other: Way) -> bool:
    """One partial, one finger."""
    return main.partial == other.partial and (main.mask ^ other.mask).bit_count() == 1


def reasons(found: Sequence[Element], profile: Profile, urgency: int = UNIT) -> tuple[str, ...]:
    """The reasons that weigh a quarter or more of the whole, heaviest first, and one at least.

    ``urgency`` in thousandths. Moving fingers and changing the partial are in every crossing; they count
    as reasons where there is no other.
    """
    weights: dict[str, int] = {}
    for element in found:
        if element.reason != FIGURE:
            cost = element.cost(profile) * (UNIT if element.steady else urgency)
            weights[element.reason] = weights.get(element.reason, 0) + cost
    total = sum(weights.values())
    ranked = sorted(weights, key=lambda reason: -weights[reason])
    named = [reason for reason in ranked if reason not in (FINGERS, PARTIAL_CHANGE)]
    heavy = [reason for reason in named if 4 * weights[reason] >= total]
    return tuple(heavy or (named or ranked)[:1])


def _fingers(mask: int) -> list[int]:
    return [finger for finger in range(4) if mask >> finger & 1]
