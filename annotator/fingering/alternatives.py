"""The costs of a line laid open, and the second-best plan over it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from annotator.fingering.costing import costing_for
from annotator.fingering.crossing import UNIT
from annotator.fingering.lattice import Arrival, Place, arrive
from annotator.fingering.model import Fingering, ReadNote
from annotator.fingering.profile import Profile, load_profile
from annotator.instruments import Instrument


@dataclass(frozen=True, slots=True)
class OtherPlan:
    """Another plan over a line: its fingerings (None: out of reach), and where it differs from the best.

    ``cost`` and ``best_cost`` in awkwardness.
    """

    fingerings: tuple[Fingering | None, ...]
    cost: float
    best_cost: float
    changed: tuple[int, ...]


def line_lattice(
    notes: Sequence[ReadNote], instrument: Instrument, profile: Profile | str = "orchestral"
) -> list[Arrival]:
    """All that the planner weighs on a line, note by note. Raises BadOption for an unknown profile name."""
    costing = costing_for(instrument, load_profile(profile) if isinstance(profile, str) else profile)
    found = []
    place = Place()
    for approach in costing.approaches(notes):
        found.append(arrive(costing, place, approach))
        place = found[-1].place
    return found


def second_best(
    notes: Sequence[ReadNote], instrument: Instrument, profile: Profile | str = "orchestral"
) -> OtherPlan | None:
    """The plan of least cost but one over a line or phrase, or None when there is only one.

    The two best ways of reaching every state are kept, so the result is exact. Raises BadOption
    for an unknown profile name.
    """
    costing = costing_for(instrument, load_profile(profile) if isinstance(profile, str) else profile)
    lattice = line_lattice(notes, instrument, profile)
    # For each state after each note its two best (cost, state before, rank there).
    trail: list[list[list[tuple[int, int, int]]]] = [[[(0, -1, 0)]]]
    for arrival in lattice:
        row = []
        for sources in arrival.sources:
            found = [
                (reached[0] + cost, source, rank)
                for source, cost in sources
                for rank, reached in enumerate(trail[-1][source])
            ]
            row.append(sorted(found)[:2])
        trail.append(row)
    ends = sorted(
        (reached[0], state, rank)
        for state, ranked in enumerate(trail[-1])
        for rank, reached in enumerate(ranked)
    )
    if len(ends) < 2 or not lattice:
        return None
    choices = [costing.ways(arrival.place.semitone or 0) for arrival in lattice]
    plans = []
    for _, state, rank in ends[:2]:
        states = _walk(trail, state, rank)
        plans.append(
            tuple(
                options[number % len(options)].fingering if options else None
                for options, number in zip(choices, states, strict=True)
            )
        )
    best, other = plans
    return OtherPlan(
        other,
        ends[1][0] / UNIT,
        ends[0][0] / UNIT,
        tuple(i for i, (a, b) in enumerate(zip(best, other, strict=True)) if a != b),
    )


def _walk(trail: Sequence[Sequence[Sequence[tuple[int, int, int]]]], state: int, rank: int) -> list[int]:
    chosen = []
    for row in reversed(trail[1:]):
        chosen.append(state)
        _, state, rank = row[state][rank]
    chosen.reverse()
    return chosen
