"""The laws of fingering on trumpets that nobody builds: nothing is known of an instrument but its file."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annotator.fingering import ReadNote, candidates, plan
from annotator.fingering.costing import costing_for
from annotator.fingering.planner import planner_for
from annotator.fingering.profile import load_profile
from annotator.instruments import Instrument, from_toml, load, tube
from annotator.pitch import Pitch
from tests.reference.test_planner_exact import all_plans, best_fingerings, lines, total

FILE = """
name = "Trumpet of nobody's"
key = "C"
[transposition]
diatonic = 0
chromatic = 0
[valves]
{valves}
[partials]
usable = {partials}
[range]
low = "C3"
high = "G6"
[slides]
first = {first}
third = {third}
"""
PLAIN = {"partials": [2, 3, 4, 5, 6, 8, 9, 10, 12], "first": 16, "third": 27}


def named(valves: str) -> Instrument:
    return from_toml(FILE.format(valves=valves, **PLAIN))


@st.composite
def instruments(draw: st.DrawFn) -> Instrument:
    """One to four valves of one to five semitones in any order, some of them longer or shorter than exact."""
    semitones = draw(st.lists(st.integers(1, 5), min_size=1, max_size=4))
    valves = f"semitones = {semitones}"
    if draw(st.booleans()):
        cents = [draw(st.integers(-15, 15)) for _ in semitones]
        lengths = [tube.valve_length(s + c / 100) for s, c in zip(semitones, cents, strict=True)]
        valves = f"lengths = {lengths}"
    partials = draw(st.sets(st.integers(2, 12), min_size=3))
    slides = {"first": draw(st.sampled_from([0, 16])), "third": draw(st.sampled_from([0, 5, 27]))}
    return from_toml(FILE.format(valves=valves, partials=sorted(partials), **slides))


@settings(max_examples=60, deadline=None)
@given(instruments(), st.integers(48, 91))
def test_candidates_sound_the_note_with_the_least_tubing_first(instrument: Instrument, semitone: int) -> None:
    found = candidates(semitone, instrument)
    tubing = []
    for item in found:
        pressed = [int(valve) - 1 for valve in item.valves.split("-") if item.valves != "0"]
        tubing.append(sum(instrument.semitones[valve] for valve in pressed))
        sounds = 48 + tube.partial_cents(item.partial) / 100
        sounds -= tube.lowering_cents([instrument.lengths[valve] for valve in pressed]) / 100
        assert sounds == pytest.approx(semitone + item.cents / 100, abs=0.002)
        assert item.partial in instrument.partials
    assert tubing == sorted(tubing)


@settings(max_examples=40, deadline=None)
@given(instruments(), lines(4))
def test_the_plan_is_the_cheapest_on_any_trumpet(instrument: Instrument, notes: list[ReadNote]) -> None:
    costing = costing_for(instrument, load_profile("orchestral"))
    planned = best_fingerings(instrument, notes)
    cost = total(costing, notes, planned)
    assert planner_for(instrument).total(notes) == cost
    plans = all_plans(notes, instrument)
    if len(plans) <= 5_000:
        assert cost == min(total(costing, notes, chosen) for chosen in plans)


def test_a_fourth_valve_of_a_tone_changes_no_chart() -> None:
    """An added valve that doubles the first is an alternate: the chart is that of three valves."""
    four = named("semitones = [2, 1, 3, 2]")
    for semitone in range(54, 85):
        (first, *others), chart = candidates(semitone, four), candidates(semitone, load("c-trumpet"))[0]
        assert (first.valves, first.partial) == (chart.valves, chart.partial)
        assert "1" not in first.valves.split("-") or any("4" in item.valves for item in others)


def test_the_order_of_the_file_holds() -> None:
    """Combinations that lower alike: those the file prefers, then the lower valves."""
    names = [item.name for item in named("semitones = [2, 1, 3, 2]").combinations]
    assert names[:5] == ["0", "2", "1", "4", "1-2"]
    names = [item.name for item in named('semitones = [2, 1, 3, 2]\npreferred = ["3", "4"]').combinations]
    assert names[:7] == ["0", "2", "4", "1", "3", "1-2", "2-4"]


def test_one_valve_for_two_is_known_by_what_it_lowers() -> None:
    """With the valves in another order the exchange is eased by the valve that stands for two, whichever."""
    turned = named('semitones = [3, 1, 2]\npreferred = ["2-3"]')
    notes = [
        ReadNote(Pitch.parse(name), place * 0.1, 0.1, place > 0)
        for place, name in enumerate(["Ab4", "A4"] * 4)
    ]
    assert candidates(69, turned)[0].valves == "2-3"
    assert [how.fingering.valves for how in plan(notes, turned) if how.fingering] == ["1-2", "1"] * 4
    alone = next(way for way in costing_for(turned, load_profile("orchestral")).ways(69) if way.mask == 1)
    third = next(
        way for way in costing_for(load("c-trumpet"), load_profile("orchestral")).ways(69) if way.mask == 4
    )
    assert alone.departure == third.departure
