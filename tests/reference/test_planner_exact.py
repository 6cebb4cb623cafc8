"""The planner against exhaustive search and against networkx's shortest path, cost for cost."""

from __future__ import annotations

import inspect
import random
from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import networkx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annotator.fingering import Fingering, ReadNote, candidates, plan, second_best
from annotator.fingering.alternatives import line_lattice
from annotator.fingering.approach import Approach
from annotator.fingering.costing import Costing, costing_for
from annotator.fingering.crossing import UNIT
from annotator.fingering.model import Way
from annotator.fingering.planner import planner_for
from annotator.fingering.profile import load_profile
from annotator.fingering.slides import line_uses, move_cost, plan_slides
from annotator.instruments import Instrument, load, tube
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
    near = draw(st.sampled_from([None, 58, 62, 68, 69]))  # a few pitches that come again, or any
    for _ in range(draw(st.integers(1, longest))):
        duration = draw(st.sampled_from([0.05, 0.09, 0.125, 0.2, 0.25, 0.5, 1.5]))
        grace = not plain and draw(st.integers(0, 9)) == 0
        notes.append(
            ReadNote(
                pitch(draw(st.integers(50, 93) if near is None else st.integers(near, near + 2))),
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


def total(
    costing: Costing,
    notes: Sequence[ReadNote],
    chosen: Sequence[Fingering | None],
    line: Sequence[Approach] | None = None,
) -> int:
    """A plan's cost, added up note by note from the cost functions alone."""
    cost = 0
    ways: list[Way | None] = []
    for place, (note, fingering) in enumerate(zip(notes, chosen, strict=True)):
        approach = (line or costing.approaches(notes))[place]
        way = costing.way(note.pitch.semitone, fingering) if fingering is not None else None
        if way is not None:
            cost += costing.own(way, approach)
            if ways and ways[-1] is not None and approach.milliseconds is not None:
                cost += costing.crossing(ways[-1], way, approach)
            earlier = came_from(notes, place, costing)
            if earlier is not None and ways[earlier] is not way:
                cost += round(costing.profile["figure.change"] * UNIT)
        ways.append(way)
    return cost


def came_from(notes: Sequence[ReadNote], place: int, costing: Costing) -> int | None:
    """The nearest note of the same pitch up to four notes before, others between, no break between."""
    longest = costing.measures.longest
    for back in range(1, 5):
        if place - back < 0 or not notes[place - back + 1].joined:
            return None
        seconds = notes[place - back + 1].onset - notes[place - back].onset
        if int(seconds * 1000 + 0.5) >= longest:
            return None
        if notes[place - back].pitch.semitone == notes[place].pitch.semitone:
            return place - back if back > 1 else None
    return None


def best_fingerings(instrument: Instrument, notes: Sequence[ReadNote]) -> list[Fingering | None]:
    """The planner's fingerings before the slides have a plan of their own."""
    planner = planner_for(instrument)
    ways = planner.ways(planner.costing.approaches(notes))
    return [way.fingering if way is not None else None for way in ways]


def all_plans(notes: Sequence[ReadNote], on: str | Instrument) -> list[tuple[Fingering | None, ...]]:
    instrument = load(on) if isinstance(on, str) else on
    options = [candidates(note.pitch.semitone, instrument) or (None,) for note in notes]
    return list(product(*options))


@settings(max_examples=120, deadline=None)
@given(lines(), st.sampled_from(["c-trumpet", "bb-trumpet", "bb-piccolo"]))
def test_no_plan_is_cheaper_than_the_planners(notes: list[ReadNote], name: str) -> None:
    costing = costing_for(load(name), load_profile("orchestral"))
    plans = all_plans(notes, name)
    if len(plans) > 20_000:
        plans = random.Random(0).sample(plans, 20_000)
    least = min(total(costing, notes, chosen) for chosen in plans)
    planned = best_fingerings(load(name), notes)
    assert total(costing, notes, planned) <= least
    assert planner_for(load(name)).total(notes) == total(costing, notes, planned)
    if len(plans) < 20_000:
        assert total(costing, notes, planned) == least


@settings(max_examples=60, deadline=None)
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


@pytest.mark.parametrize("seed", range(2))
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
    lattice = line_lattice(notes, instrument)
    graph: networkx.DiGraph[object] = networkx.DiGraph()
    for index, arrival in enumerate(lattice):
        for state, sources in enumerate(arrival.sources):
            for source, cost in sources:
                graph.add_edge((index - 1, source), (index, state), weight=cost)
    for state in range(len(lattice[-1].sources)):
        graph.add_edge((len(notes) - 1, state), "end", weight=0)
    shortest = networkx.shortest_path_length(graph, (-1, 0), "end", weight="weight")
    assert planner_for(instrument).total(notes) == shortest
    planned = best_fingerings(instrument, notes)
    assert total(costing_for(instrument, load_profile("orchestral")), notes, planned) == shortest


@settings(max_examples=60, deadline=None)
@given(lines(7), st.sampled_from(["c-trumpet", "bb-flugelhorn", "a-piccolo"]), st.booleans())
def test_no_slide_plan_is_cheaper(notes: list[ReadNote], name: str, exact: bool) -> None:
    """Against every setting on every note that uses a slide, added up move by move."""
    instrument = load(name)
    if exact:
        instrument = replace(instrument, lengths=tuple(map(tube.valve_length, instrument.semitones)))
    costing = costing_for(instrument, load_profile("orchestral"))
    approaches = costing.approaches(notes)
    ways = planner_for(instrument).ways(approaches)
    uses = line_uses(costing, notes, approaches, ways)
    if len(costing.settings) ** len(uses) > 30_000:
        uses = uses[:3] if len(costing.settings) ** 3 <= 30_000 else uses[:2]
        end = uses[-1].place + 1
        notes, approaches, ways = notes[:end], approaches[:end], ways[:end]
        uses = line_uses(costing, notes, approaches, ways)
    found = []
    for tried in product(costing.settings, repeat=len(uses)):
        moves = [
            move_cost(costing, before, after, use)
            for before, after, use in zip(((0, 0), *tried), tried, uses, strict=False)
        ]
        if all(move is not None for move in moves):
            off = sum(costing.off(u.way, u.approach, s) for u, s in zip(uses, tried, strict=True))
            found.append(off + sum(move for move in moves if move is not None))
    planned = plan_slides(costing, notes, approaches, ways)
    assert planned.cost == min(found)
    for place, setting in enumerate(planned.settings):
        assert 0 <= setting[0] <= instrument.first_slide, place
        assert 0 <= setting[1] <= instrument.third_slide, place


@settings(max_examples=60, deadline=None)
@given(lines(6), st.sampled_from(["c-trumpet", "bb-cornet", "a-piccolo"]))
def test_each_plan_is_the_best_for_the_other(notes: list[ReadNote], name: str) -> None:
    """The fingerings with the slides where they stand, and the slides with those fingerings."""
    instrument = load(name)
    costing, planner = costing_for(instrument, load_profile("orchestral")), planner_for(instrument)
    played = plan(notes, instrument)
    held = [(how.slides.first, how.slides.third) for how in played]
    if not any(map(any, held)):
        return
    approaches = costing.approaches(notes)
    ways = [
        costing.way(note.pitch.semitone, how.fingering) if how.fingering else None
        for note, how in zip(notes, played, strict=True)
    ]
    slides = plan_slides(costing, notes, approaches, ways)
    assert [tuple(setting) for setting in slides.settings] == held
    standing = list(approaches)
    for place in slides.standing:
        standing[place] = standing[place]._replace(slides=held[place])
    chosen = [how.fingering for how in played]
    plans = all_plans(notes, instrument)
    if len(plans) <= 5_000:
        costs = {each: total(costing, notes, each, standing) for each in plans}
        assert costs[tuple(chosen)] == min(costs.values()) == planner.cost(standing)


def test_an_approach_is_all_that_costs_know_of_a_note() -> None:
    """What is looked up by is what costs are made from: no cost function takes anything else of a note."""
    for name in ("crossing", "matrix", "own", "own_elements", "off", "setting"):
        taken = inspect.signature(getattr(Costing, name)).parameters
        assert not {"note", "notes", "before", "onset", "duration"} & set(taken), name


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
