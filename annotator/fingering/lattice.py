"""The choices along a line as a lattice: what may be reached from what, and at which cost.

A note's cost depends on how it is played and how the note before it is; and, where the same pitch stands
in the figure, on how it was played there. So where the line stands is the way of the last note and the
ways of those notes that will come again: each combination of them is one state.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from annotator.fingering.approach import Approach
from annotator.fingering.costing import Costing
from annotator.fingering.model import Way

Ways = tuple[Way, ...]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a line stands after a note: the pitches whose fingering still matters, the note itself last.

    ``kept``: semitones of earlier notes that come again in the figure. ``returns``: so does the note.
    States are numbered with the note's own way running fastest.
    """

    kept: tuple[int, ...] = ()
    semitone: int | None = None
    returns: bool = False


@dataclass(frozen=True, slots=True)
class Arrival:
    """What a note adds: ``sources`` for each state after it, as (state before, cost) pairs; ``own`` by way.

    ``left`` and ``ways`` are the ways of the note before and of the note (one, of nothing, where out of
    reach).
    """

    place: Place
    sources: tuple[tuple[tuple[int, int], ...], ...]
    left: int
    ways: int


def arrive(costing: Costing, place: Place, approach: Approach) -> Arrival:
    """The note of ``approach`` played after ``place``; costs in thousandths, the note's own included."""
    left = costing.ways(place.semitone) if place.semitone is not None else ()
    ways = costing.ways(approach.semitone)
    own = [costing.own(way, approach) for way in ways] or [0]
    rows = [[0] * max(1, len(left))] * max(1, len(ways))
    if left and ways and approach.milliseconds is not None:
        rows = [list(row) for row in costing.matrix(left[0].semitone, approach)]
    before = [*place.kept] if approach.milliseconds is not None else []
    if place.returns and place.semitone is not None and approach.milliseconds is not None:
        before.append(place.semitone)
    linked = before.index(approach.semitone) if approach.came and approach.semitone in before else -1
    kept = tuple(semitone for number, semitone in enumerate(before) if number != linked)
    target = Place(kept, approach.semitone, approach.returns)
    shape = [len(costing.ways(semitone)) for semitone in kept]
    found: dict[int, list[tuple[int, int]]] = {}
    sizes = [len(costing.ways(semitone)) for semitone in place.kept] + [max(1, len(left))]
    for source, state in enumerate(product(*map(range, sizes))):
        known = list(state[:-1]) if before else []
        if len(before) > len(known):
            known.append(state[-1])
        earlier = known.pop(linked) if linked >= 0 else -1
        number = 0
        for size, way in zip(shape, known, strict=True):
            number = number * size + way
        for way, cost in enumerate(own):
            step = rows[way][state[-1]] + cost
            if earlier >= 0:
                step += costing.change(ways[earlier], ways[way])
            found.setdefault(number * len(own) + way, []).append((source, step))
    return Arrival(target, tuple(tuple(found[n]) for n in sorted(found)), sizes[-1], len(own))
