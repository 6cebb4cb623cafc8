"""The choices along a line as a lattice: what may be reached from what, and at which cost.

A note's cost depends on how it is played and how the note before it is; and, where the same pitch stands
in the figure, on how it was played there. So where the line stands is the way of the last note and the
ways of those notes that will come again: each combination of them is one state.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from math import prod

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

    ``rows``: the same costs where every state before leads to every state after, else None.
    """

    place: Place
    sources: tuple[tuple[tuple[int, int], ...], ...]
    rows: tuple[tuple[int, ...], ...] | None = None


def arrive(costing: Costing, place: Place, approach: Approach) -> Arrival:
    """The note of ``approach`` played after ``place``; costs in thousandths, the note's own included."""
    left = costing.ways(place.semitone) if place.semitone is not None else ()
    ways = costing.ways(approach.semitone)
    own = [costing.own(way, approach) for way in ways] or [0]
    rows = [[0] * max(1, len(left))] * max(1, len(ways))
    if left and ways and approach.milliseconds is not None:
        rows = [list(row) for row in costing.matrix(left[0].semitone, approach)]
    target = Place((), approach.semitone, approach.returns)
    if not place.kept and not (place.returns and approach.milliseconds is not None):
        costs = tuple(tuple([cost + each for each in row]) for row, cost in zip(rows, own, strict=True))
        return Arrival(target, tuple(tuple(enumerate(row)) for row in costs), costs)
    before = [*place.kept] if approach.milliseconds is not None else []
    if place.returns and place.semitone is not None and approach.milliseconds is not None:
        before.append(place.semitone)
    linked = before.index(approach.semitone) if approach.came and approach.semitone in before else -1
    kept = tuple(semitone for number, semitone in enumerate(before) if number != linked)
    target = Place(kept, approach.semitone, approach.returns)
    sizes = tuple([len(costing.ways(semitone)) for semitone in place.kept])
    last = max(1, len(left))
    if linked >= 0:
        other = costing.change(ways[0], ways[-1])
        changes = [[0 if a == b else other for b in range(len(ways))] for a in range(len(ways))]
    else:
        changes = []
    targets, routes = _routes(sizes if before else (), sizes, last, linked, len(before) > len(sizes))
    found: list[list[tuple[int, int]]] = [[] for _ in range(targets * len(own))]
    for source, number, earlier, standing in routes:
        for way, cost in enumerate(own):
            step = rows[way][standing] + cost
            if earlier >= 0:
                step += changes[earlier][way]
            found[number * len(own) + way].append((source, step))
    return Arrival(Place(kept, approach.semitone, approach.returns), tuple(map(tuple, found)))


@lru_cache(maxsize=4096)
def _routes(
    known: tuple[int, ...], sizes: tuple[int, ...], last: int, linked: int, keeps_last: bool
) -> tuple[int, tuple[tuple[int, int, int, int], ...]]:
    """How many combinations of kept ways there are after a note, and for each state before it where it goes.

    ``sizes``: ways of the kept notes, of which ``known`` stay so (none after a break), and of the ``last``
    note, which ``keeps_last`` makes a kept one. ``linked``: which of them the note is linked to (−1: none).
    For each state before: its number, the combination after it, the linked note's way, the last note's.
    """
    shape = [*known, *([last] if keeps_last else [])]
    if linked >= 0:
        shape.pop(linked)
    found = []
    for source, state in enumerate(product(*map(range, (*sizes, last)))):
        ways = [*state[: len(known)], *([state[-1]] if keeps_last else [])]
        earlier = ways.pop(linked) if linked >= 0 else -1
        number = 0
        for size, way in zip(shape, ways, strict=True):
            number = number * size + way
        found.append((source, number, earlier, state[-1]))
    return prod(shape), tuple(found)
