"""What the hand slides do for a note: how far a pull lowers it, and what stays off.

The first and third valve slides are pulled while playing; a slide counts only when its valve is down,
and the third (the one with the ring) goes first (common practice, no source). A flat note cannot be
helped by a slide: pulling only lowers. The formulas are those of ``instruments/tube.py``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from annotator.fingering.model import Way
from annotator.instruments import Instrument, tube

FIRST, THIRD = 0b001, 0b100
"""Valves with a hand slide, as bits of a mask."""
TOO_FAR = "too far for this slide"
NO_TIME = "no time to move it"
NOT_PULLED = (0, 0)
_FINE = 2
"""Millimetres: nobody sets a slide more finely."""

Setting = tuple[int, int]
"""Whole millimetres pulled on the first and on the third valve's slide."""


def usable(mask: int, instrument: Instrument) -> int:
    """The valves of ``mask`` that have a hand slide, as a mask."""
    first = FIRST if instrument.first_slide > 0 else 0
    third = THIRD if instrument.third_slide > 0 else 0
    return mask & (first | third)


def cents_left(way: Way, instrument: Instrument, setting: Setting) -> float:
    """Cents off equal temperament with the slides at ``setting``; a slide whose valve is up does nothing."""
    pull = (setting[0] if way.mask & FIRST else 0) + (setting[1] if way.mask & THIRD else 0)
    if not pull:
        return way.fingering.cents
    left = way.fingering.cents - tube.cents_lowered(_length(way, instrument), pull)
    return round(left, 1) + 0.0


def wanted(way: Way, instrument: Instrument, pull_from: float) -> float:
    """Millimetres of pull that put the note in tune; 0 when it is less than ``pull_from`` cents sharp."""
    if way.fingering.cents < pull_from:
        return 0.0
    return round(tube.slide_pull(_length(way, instrument), way.fingering.cents), 1)


def best_setting(way: Way, instrument: Instrument, pull_from: float) -> Setting:
    """The setting that would put a note in tune, as far as the slides go: the third first."""
    pull = round(wanted(way, instrument, pull_from))
    slides = usable(way.mask, instrument)
    third = min(pull, int(instrument.third_slide)) if slides & THIRD else 0
    first = min(pull - third, int(instrument.first_slide)) if slides & FIRST else 0
    return first, third


def settings(ways: Sequence[Way], instrument: Instrument, pull_from: float) -> tuple[Setting, ...]:
    """Where the slides are set at all for ``ways``: right for one of them, or half way between two such.

    The first slide is pulled only where the third is out as far as it goes, or not in use. The least pull
    comes first.
    """
    best = [(way, best_setting(way, instrument, pull_from)) for way in ways]
    firsts = _with_halves(first for _, (first, _) in best)
    thirds = _with_halves(third for _, (_, third) in best)
    found = {(0, third) for third in thirds}
    found |= {(first, thirds[-1]) for first in firsts}
    if any(first and not way.mask & THIRD for way, (first, _) in best):
        found |= {(first, 0) for first in firsts}
    return tuple(sorted(found, key=lambda setting: (sum(setting), setting)))


def _with_halves(pulls: Iterable[int]) -> list[int]:
    ordered = sorted({0, *pulls})
    return sorted({*ordered, *((a + b) // 2 for a, b in pairwise(ordered) if b - a > _FINE)})


def _length(way: Way, instrument: Instrument) -> float:
    """Metres of tube in use with the way's valves."""
    added = sum(length for valve, length in enumerate(instrument.lengths) if way.mask >> valve & 1)
    return instrument.length * (1.0 + added)
