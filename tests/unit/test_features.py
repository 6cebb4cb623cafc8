"""The cost of a plan is weights times counts: what a hand prefers is learnt from that."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annotator.fingering import ReadNote
from annotator.fingering.costing import costing_for
from annotator.fingering.crossing import UNIT
from annotator.fingering.features import MEASURES, cost, features
from annotator.fingering.planner import planner_for
from annotator.fingering.profile import load_profile
from annotator.instruments import load
from tests.reference.test_planner_exact import best_fingerings, lines, total


@settings(max_examples=80, deadline=None)
@given(lines(8), st.sampled_from(["c-trumpet", "a-piccolo"]), st.sampled_from(["orchestral", "student"]))
def test_a_plan_costs_its_weights_times_its_counts(notes: list[ReadNote], name: str, profile: str) -> None:
    planner = planner_for(load(name), profile)
    approaches = planner.costing.approaches(notes)
    ways = planner.ways(approaches)
    counts = features(planner.costing, approaches, ways)
    assert not set(counts) & MEASURES
    # Each cost is rounded to a thousandth before it is added up; a note adds a dozen at most.
    assert cost(planner.costing, counts) == pytest.approx(planner.total(notes) / UNIT, abs=0.02 * len(notes))


@settings(max_examples=40, deadline=None)
@given(lines(6), st.data())
def test_so_does_any_other_way_through_a_line(notes: list[ReadNote], data: st.DataObject) -> None:
    costing = costing_for(load("c-trumpet"), load_profile("orchestral"))
    approaches = costing.approaches(notes)
    ways = [
        data.draw(st.sampled_from(options)) if (options := costing.ways(note.pitch.semitone)) else None
        for note in notes
    ]
    told = total(costing, notes, [way.fingering if way else None for way in ways])
    counts = features(costing, approaches, ways)
    assert cost(costing, counts) == pytest.approx(told / UNIT, abs=0.02 * len(notes))


def test_every_row_of_the_table_is_a_weight_or_a_measure() -> None:
    keys = {row.key for row in load_profile("orchestral").costs}
    assert keys >= MEASURES
    assert best_fingerings(load("c-trumpet"), []) == []
