"""The costs of a line laid open, and the second-best plan over it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from annotator.fingering.costing import Matrix, costing_for
from annotator.fingering.crossing import UNIT
from annotator.fingering.model import Fingering, ReadNote
from annotator.fingering.profile import Profile, load_profile
from annotator.instruments import Instrument


@dataclass(frozen=True, slots=True)
class LineCosts:
    """What a plan over a line adds up. Costs in whole thousandths of an awkwardness.

    ``ways[i]``: the fingerings note i may take (empty when out of reach). ``own[i]``: what each
    costs by itself. ``crossings[i][b][a]``: the crossing onto way b of note i from way a of the note
    before; all 0 where the line breaks. A note out of reach counts as one way that costs nothing.
    """

    ways: tuple[tuple[Fingering, ...], ...]
    own: tuple[tuple[int, ...], ...]
    crossings: tuple[Matrix, ...]


@dataclass(frozen=True, slots=True)
class OtherPlan:
    """Another plan over a line: its fingerings (None: out of reach), and where it differs from the best.

    ``cost`` and ``best_cost`` in awkwardness.
    """

    fingerings: tuple[Fingering | None, ...]
    cost: float
    best_cost: float
    changed: tuple[int, ...]


def line_costs(
    notes: Sequence[ReadNote], instrument: Instrument, profile: Profile | str = "orchestral"
) -> LineCosts:
    """All costs the planner weighs on a line. Raises BadOption for an unknown profile name."""
    costing = costing_for(instrument, load_profile(profile) if isinstance(profile, str) else profile)
    ways, own, crossings = [], [], []
    before: ReadNote | None = None
    for note in notes:
        approach = costing.approach(before, note)
        others = costing.neighbours(note)
        trilled = any(other.trilled for other in others)
        options = costing.ways(note.pitch.semitone)
        left = costing.ways(before.pitch.semitone) if before is not None else ()
        ways.append(tuple(option.fingering for option in options))
        own.append(
            tuple(costing.note(way, approach, trilled) + costing.ornamented(way, others) for way in options)
            or (0,)
        )
        if options and left and approach.milliseconds is not None and before is not None:
            crossings.append(costing.matrix(before.pitch.semitone, note.pitch.semitone, approach))
        else:
            crossings.append(tuple((0,) * max(1, len(left)) for _ in range(max(1, len(options)))))
        before = note
    return LineCosts(tuple(ways), tuple(own), tuple(crossings))


def second_best(
    notes: Sequence[ReadNote], instrument: Instrument, profile: Profile | str = "orchestral"
) -> OtherPlan | None:
    """The plan of least cost but one over a line or phrase, or None when there is only one.

    The two best ways of reaching every candidate are kept, so the result is exact. Raises BadOption
    for an unknown profile name.
    """
    costs = line_costs(notes, instrument, profile)
    # For each way of the last note its two best (cost, way before, rank there).
    trail: list[list[list[tuple[int, int, int]]]] = []
    for own, crossing in zip(costs.own, costs.crossings, strict=True):
        row = []
        for way, cost in enumerate(own):
            if not trail:
                row.append([(cost, -1, 0)])
                continue
            found = [
                (reached[0] + crossing[way][a] + cost, a, rank)
                for a, ranked in enumerate(trail[-1])
                for rank, reached in enumerate(ranked)
            ]
            row.append(sorted(found)[:2])
        trail.append(row)
    ends = sorted(
        (reached[0], way, rank)
        for way, ranked in enumerate(trail[-1] if trail else [])
        for rank, reached in enumerate(ranked)
    )
    if len(ends) < 2:
        return None
    best, other = (_walk(trail, way, rank) for _, way, rank in ends[:2])
    return OtherPlan(
        tuple(options[way] if options else None for options, way in zip(costs.ways, other, strict=True)),
        ends[1][0] / UNIT,
        ends[0][0] / UNIT,
        tuple(i for i, (a, b) in enumerate(zip(best, other, strict=True)) if a != b),
    )


def _walk(trail: Sequence[Sequence[Sequence[tuple[int, int, int]]]], way: int, rank: int) -> list[int]:
    chosen = []
    for row in reversed(trail):
        chosen.append(way)
        _, way, rank = row[way][rank]
    chosen.reverse()
    return chosen
