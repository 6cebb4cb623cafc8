"""What a plan's cost is made of: how often each weight of the cost table is taken.

The cost of a plan is the sum of weights times these counts, to the rounding of single costs to thousandths.
So what a hand prefers can be learnt: of two plans the one costs less under weights w if w · (counts of the
other − counts of the one) > 0.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from annotator.fingering.approach import Approach
from annotator.fingering.costing import Costing
from annotator.fingering.crossing import UNIT
from annotator.fingering.model import Way

MEASURES = frozenset(
    {
        *("close-partials.semitones", "leap.free-partials", "intonation.lip", "intonation.lip-quick"),
        *("intonation.settle", "intonation.hold", "slide.from", "slide.move", "slide.rest", "slide.heard"),
        *("trill.departure", "trill.short-ornament", "trill.urgency", "grace.seconds", "tremolo.seconds"),
        *("grade.mild", "grade.awkward", "grade.severe", "grade.third-for-first-second", "grade.instead"),
        "slide.shift",
    }
)
"""The rows of the cost table that are no weights of a plan: times, thresholds, shares, the slides' own."""


def features(
    costing: Costing, approaches: Sequence[Approach], ways: Sequence[Way | None]
) -> Mapping[str, float]:
    """How often the plan that plays ``ways`` takes each weight, by key of the cost table.

    ``approaches`` as ``Costing.approaches`` gives them for the line, ``ways`` a way for each (None: out of
    reach). Crossings count by their urgency: 1.0 at eight notes a second. Keys that are not taken are left
    out.
    """
    found: defaultdict[str, float] = defaultdict(float)
    last: dict[int, Way] = {}
    left: Way | None = None
    for approach, way in zip(approaches, ways, strict=True):
        if way is None:
            left = None
            continue
        _add_note(found, costing, way, approach)
        if left is not None and approach.milliseconds is not None:
            _add_crossing(found, costing, left, way, approach)
        if approach.came and last.get(way.semitone, way) is not way:
            found["figure.change"] += 1
        last[way.semitone] = left = way
    return {key: count for key, count in found.items() if count}


def cost(costing: Costing, counts: Mapping[str, float]) -> float:
    """The cost of a plan with these counts under the costing's weights, in awkwardness."""
    return sum(costing.profile[key] * count for key, count in counts.items())


def _add_crossing(
    found: defaultdict[str, float], costing: Costing, left: Way, reached: Way, approach: Approach
) -> None:
    urgency = costing.urgency[approach.milliseconds or 0] / UNIT
    if not approach.slurred and not urgency:
        return
    for element in costing.elements(left, reached, approach.slurred):
        found[element.key] += element.amount * (1.0 if element.steady else urgency)


def _add_note(found: defaultdict[str, float], costing: Costing, way: Way, approach: Approach) -> None:
    for element in costing.own_elements(way, approach):
        found[element.key] += element.amount
    for other in approach.others:
        option = costing.best_neighbour(way, other)[1]
        if option is not None:
            for element in costing.ornament_elements(way, option, other):
                found[element.key] += element.amount
    for key, amount in costing.off_amounts(way, approach, costing.setting(way, approach)):
        found[key] += amount
