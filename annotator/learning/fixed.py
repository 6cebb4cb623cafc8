"""The best plan in which some notes are played as they are marked."""

from __future__ import annotations

from collections.abc import Sequence

from annotator.fingering.approach import Approach
from annotator.fingering.costing import Costing
from annotator.fingering.lattice import Place, arrive
from annotator.fingering.model import Way


def best_with(costing: Costing, approaches: Sequence[Approach], valves: Sequence[str]) -> list[Way | None]:
    """The cheapest ways over a line, those with ``valves`` given ("" for none) played so.

    Exact, as the planner is; without any valves given it finds the planner's cost. Valves that do not
    reach a note are passed over.
    """
    place, costs = Place(), {0: 0}
    steps: list[tuple[dict[int, int], tuple[Way, ...]]] = []
    for approach, asked in zip(approaches, valves, strict=True):
        arrival = arrive(costing, place, approach)
        ways = costing.ways(approach.semitone)
        allowed = {way.place for way in ways if way.fingering.valves == asked} if asked else set()
        back: dict[int, int] = {}
        reached: dict[int, int] = {}
        for state, sources in enumerate(arrival.sources):
            if allowed and ways[state % len(ways)].place not in allowed:
                continue
            options = [(costs[source] + cost, source) for source, cost in sources if source in costs]
            if options:
                reached[state], back[state] = min(options)
        steps.append((back, ways))
        place, costs = arrival.place, reached
    state = min(costs, key=lambda state: (costs[state], state))
    found: list[Way | None] = []
    for back, ways in reversed(steps):
        found.append(ways[state % len(ways)] if ways else None)
        state = back[state]
    return found[::-1]
