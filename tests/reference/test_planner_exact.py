"""The planner against exhaustive search and against networkx's shortest path, cost for cost."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import product

import networkx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annotator.fingering import Fingering, ReadNote, candidates, plan, second_best
from annotator.fingering.alternatives import line_costs
from annotator.fingering.costing import Costing, costing_for
from annotator.fingering.crossing import UNIT
from annotator.fingering.planner import planner_for
from annotator.fingering.profile import load_profile
from annotator.instruments import Instrument, load
from annotator.pitch import Pitch
from annotator.score.model import Ornament

NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
ORNAMENTS: tuple[tuple[Ornament, ...], ...] = (
    (),
    (),
    (),
    (),
    (Ornament("trill-mark"),),
    (Ornament("turn", above=0),),
    (Ornament("mordent"),),
    (Ornament("tremolo-start"),),
)


def pitch(semitone: int) -> Pitch:
    octave, step = divmod(semitone, 12)
    return Pitch.parse(f"{NAMES[step]}{octave - 1}")


@st.composite
def lines(draw: st.DrawFn, longest: int = 6, plain: bool = False) -> list[ReadNote]:
    notes, onset = [], 0.0
    for _ in range(draw(st.integers(1, longest))):
        duration = draw(st.sampled_from([0.05, 0.09, 0.125, 0.2, 0.25, 0.5, 1.5]))
        grace = not plain and draw(st.integers(0, 9)) == 0
        notes.append(
            ReadNote(
                pitch(draw(st.integers(50, 93))),
                onset,
                0.0 if grace else duration,
                slurred=draw(st.booleans()),
                joined=draw(st.integers(0, 5)) > 0,
                grace=grace,
                ornaments=() if plain else draw(st.sampled_from(ORNAMENTS)),
                fifths=draw(st.integers(-4, 4)),
                quarters=duration,
            )
        )
        onset += 0.0 if grace else duration
    return notes


def total(costing: Costing, notes: Sequence[ReadNote], chosen: Sequence[Fingering | None]) -> int:
    """A plan's cost, added up note by note from the cost functions alone."""
    cost, before = 0, None
    for note, fingering in zip(notes, chosen, strict=True):
        approach = costing.approach(before[0] if before else None, note)
        way = None
        if fingering is not None:
            way = next(way for way in costing.ways(note.pitch.semitone) if way.fingering == fingering)
            others = costing.neighbours(note)
            cost += costing.note(way, approach, any(other.trilled for other in others))
            cost += costing.ornamented(way, others)
            if before and before[1] is not None and approach.milliseconds is not None:
                cost += costing.crossing(before[1], way, approach.milliseconds, approach.slurred)
        before = (note, way)
    return cost


def all_plans(notes: Sequence[ReadNote], on: str | Instrument) -> list[tuple[Fingering | None, ...]]:
    instrument = load(on) if isinstance(on, str) else on
    options = [candidates(note.pitch.semitone, instrument) or (None,) for note in notes]
    return list(product(*options))


@settings(max_examples=300, deadline=None)
@given(lines(), st.sampled_from(["c-trumpet", "bb-trumpet", "bb-piccolo"]))
def test_no_plan_is_cheaper_than_the_planners(notes: list[ReadNote], name: str) -> None:
    costing = costing_for(load(name), load_profile("orchestral"))
    plans = all_plans(notes, name)
    if len(plans) > 20_000:
        plans = random.Random(0).sample(plans, 20_000)
    least = min(total(costing, notes, chosen) for chosen in plans)
    planned = [note.fingering for note in plan(notes, load(name))]
    assert total(costing, notes, planned) <= least
    assert planner_for(load(name)).total(notes) == total(costing, notes, planned)
    if len(plans) < 20_000:
        assert total(costing, notes, planned) == least


@settings(max_examples=150, deadline=None)
@given(lines(5))
def test_the_second_best_plan_is_the_second_of_all(notes: list[ReadNote]) -> None:
    costing = costing_for(load("c-trumpet"), load_profile("orchestral"))
    costs = sorted(total(costing, notes, chosen) for chosen in all_plans(notes, "c-trumpet"))
    other = second_best(notes, load("c-trumpet"))
    if len(costs) == 1:
        assert other is None
        return
    assert other is not None
    assert round(other.best_cost * UNIT) == costs[0]
    assert round(other.cost * UNIT) == costs[1]
    assert total(costing, notes, other.fingerings) == costs[1]
    assert other.changed


@pytest.mark.parametrize("seed", range(6))
def test_long_lines_against_networkx(seed: int) -> None:
    """Dijkstra's shortest path (networkx) through the same lattice, on lines of a thousand notes."""
    chance = random.Random(seed)
    notes, onset = [], 0.0
    here = 67
    for _ in range(1000):
        duration = chance.choice([0.08, 0.1, 0.125, 0.2, 0.4])
        here = min(91, max(54, here + chance.randint(-5, 5)))
        notes.append(
            ReadNote(
                pitch(here),
                onset,
                duration,
                slurred=chance.random() < 0.5,
                joined=chance.random() < 0.95,
                ornaments=chance.choice(ORNAMENTS) if chance.random() < 0.2 else (),
            )
        )
        onset += duration
    instrument = load(chance.choice(["c-trumpet", "bb-piccolo"]))
    costs = line_costs(notes, instrument)
    graph: networkx.DiGraph[object] = networkx.DiGraph()
    for index, (own, crossings) in enumerate(zip(costs.own, costs.crossings, strict=True)):
        for b, cost in enumerate(own):
            if index == 0:
                graph.add_edge("start", (0, b), weight=cost)
            else:
                for a, crossing in enumerate(crossings[b]):
                    graph.add_edge((index - 1, a), (index, b), weight=cost + crossing)
    for b in range(len(costs.own[-1])):
        graph.add_edge((len(notes) - 1, b), "end", weight=0)
    shortest = networkx.shortest_path_length(graph, "start", "end", weight="weight")
    assert planner_for(instrument).total(notes) == shortest
    planned = [note.fingering for note in plan(notes, instrument)]
    assert total(costing_for(instrument, load_profile("orchestral")), notes, planned) == shortest


@settings(max_examples=60, deadline=None)
@given(st.lists(lines(8), min_size=2, max_size=4))
def test_what_the_planner_remembers_changes_nothing(several: list[list[ReadNote]]) -> None:
    instrument = load("c-trumpet")
    planner_for(instrument)._forget()
    alone = []
    for notes in several:
        planner_for(instrument)._forget()
        alone.append(plan(notes, instrument))
    assert [plan(notes, instrument) for notes in several] == alone
    assert [plan(notes, instrument) for notes in reversed(several)] == alone[::-1]
