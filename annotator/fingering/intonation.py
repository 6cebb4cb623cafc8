"""What the hand slides can do for a note: how far to pull, and what stays off.

The first and third valve slides are pulled while playing; a slide counts only when its valve is down,
and the third (the one with the ring) goes first (common practice, no source). A flat note cannot be
helped by a slide: pulling only lowers.
"""

from __future__ import annotations

from dataclasses import dataclass

from annotator.fingering.model import Fingering
from annotator.instruments import Instrument, tube

_TOO_FAR = "too far for this slide"
_NO_TIME = "no time to move it"
_ROUNDING_CENTS = 0.5


@dataclass(frozen=True, slots=True)
class SlideSetting:
    """Millimetres of pull: ``wanted`` in all, ``first`` and ``third`` as far as they go.

    ``cents_left`` off equal temperament afterwards; ``words`` for a player; ``trouble`` what is
    wrong with it, or empty.
    """

    wanted: float = 0.0
    first: float = 0.0
    third: float = 0.0
    cents_left: float = 0.0
    words: str = ""
    trouble: str = ""


def slide_setting(
    fingering: Fingering, instrument: Instrument, pull_from: float, time: bool = True
) -> SlideSetting:
    """The best slide setting for a note; ``pull_from``: cents sharp from which a slide is moved at all.

    ``time``: whether there is time to move it; if not the slides stay in.
    """
    if fingering.cents < pull_from:
        return SlideSetting(cents_left=fingering.cents)
    added = next(item.length for item in instrument.combinations if item.name == fingering.valves)
    length = instrument.length * (1.0 + added)
    wanted = tube.slide_pull(length, fingering.cents)
    valves = fingering.valves.split("-")
    third = min(wanted, instrument.third_slide) if "3" in valves else 0.0
    first = min(wanted - third, instrument.first_slide) if "1" in valves else 0.0
    has_slide = ("3" in valves and instrument.third_slide > 0) or (
        "1" in valves and instrument.first_slide > 0
    )
    if not has_slide:
        return SlideSetting(round(wanted, 1), cents_left=fingering.cents, trouble=_TOO_FAR)
    if not time:
        return SlideSetting(round(wanted, 1), cents_left=fingering.cents, trouble=_NO_TIME)
    left = fingering.cents - tube.cents_lowered(length, first + third)
    words = " and ".join(
        f"{name} slide {pull:.0f} mm" for name, pull in (("third", third), ("first", first)) if pull >= 0.5
    )
    return SlideSetting(
        round(wanted, 1),
        round(first, 1),
        round(third, 1),
        round(left, 1) + 0.0,
        words,
        _TOO_FAR if left > _ROUNDING_CENTS else "",
    )
