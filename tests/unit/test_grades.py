"""Grades at their thresholds, and what the planner remembers: a table changed is a table seen."""

from __future__ import annotations

from dataclasses import replace

import pytest

from annotator.fingering import ReadNote, load_profile, plan, profile_from_toml
from annotator.fingering import planner as planner_module
from annotator.fingering.costing import costing_for
from annotator.fingering.judging import grade_of
from annotator.fingering.planner import Planner, planner_for
from annotator.instruments import load, tube
from annotator.pitch import Pitch


def line(names: str, seconds: float, slurred: bool = True) -> list[ReadNote]:
    return [
        ReadNote(Pitch.parse(name), place * seconds, seconds, slurred and place > 0)
        for place, name in enumerate(names.split())
    ]


def grade(names: str, seconds: float) -> int:
    crossing = plan(line(names, seconds), load("c-trumpet"))[1].crossing
    return crossing.grade if crossing else 0


# E♭4 to F4, 2-3 to 1, slurred: 0.85 for the exchange, 0.25 for the finger more, 0.2 for three fingers: 1.3
# at eight notes a second. Grades as a player gives them (common practice, no source).
@pytest.mark.parametrize(
    ("seconds", "expected"),
    [(0.25, 0), (0.1875, 0), (0.14, 0), (0.125, 1), (0.1, 1), (0.09, 2), (0.08, 2), (0.0625, 3), (0.03, 3)],
)
def test_the_same_exchange_is_graded_by_its_time(seconds: float, expected: int) -> None:
    assert grade("Eb4 F4", seconds) == expected


@pytest.mark.parametrize(
    ("severity", "expected"),
    [(1199, 0), (1200, 1), (1899, 1), (1900, 2), (2399, 2), (2999, 2), (3000, 3)],
)
def test_thresholds(severity: int, expected: int) -> None:
    """Mild from 1.2, awkward from 1.9, severe from 3.0 awkwardness."""
    costing = costing_for(load("c-trumpet"), load_profile("orchestral"))
    assert grade_of(costing, severity) == expected


@pytest.mark.parametrize(
    ("milliseconds", "factor"),
    [(1200, 0), (500, 50), (250, 300), (188, 500), (125, 1000), (100, 1400), (62, 2620), (30, 5000)],
)
def test_urgency_in_figures(milliseconds: int, factor: int) -> None:
    costing = costing_for(load("c-trumpet"), load_profile("orchestral"))
    assert costing.urgency[milliseconds] == pytest.approx(factor, abs=30)


def test_a_planner_that_forgets_all_the_time_plans_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    notes = line("C4 D4 Eb4 F4 G4 Ab4 A4 Ab4 A4 B4 C5 D5 Eb5 D5 C5 D4 C#4 D4 G3", 0.13)
    known = planner_for(load("c-trumpet")).plan(notes)
    for most in (0, 1, 2, 5):
        monkeypatch.setattr(planner_module, "_MOST_KEPT", most)
        fresh = Planner(planner_for(load("c-trumpet")).costing)
        for _ in range(3):
            assert fresh.plan(notes) == known


def test_of_equal_plans_the_charts_is_taken() -> None:
    """With nothing to choose between fingerings the first candidate, the chart's, is the plan."""
    kept = {"grade.mild", "grade.awkward", "grade.severe", "intonation.settle", "intonation.hold"}
    rows = [row.key for row in load_profile("orchestral").costs if row.key not in kept]
    free = profile_from_toml("\n".join(f'"{key}" = 0' for key in rows))
    for seconds in (0.05, 0.2, 1.0):
        for played in plan(line("E4 A4 G4 E5 C5 A5 G5 E4 A4", seconds), load("c-trumpet"), free):
            assert played.departure is None


def test_a_changed_table_is_seen_at_once() -> None:
    """Planners, costings and plans of one profile are nothing to another that differs in one weight."""
    notes = line("Ab4 A4 Ab4 A4 Ab4", 0.11)
    usual = [how.fingering for how in plan(notes, load("c-trumpet"))]
    dear = profile_from_toml("[departure]\nthird-for-first-second = 9")
    assert [how.fingering for how in plan(notes, load("c-trumpet"), dear)] != usual
    assert [how.fingering for how in plan(notes, load("c-trumpet"))] == usual
    quick = profile_from_toml("urgency = [[1.2, 0.0], [0.5, 0.01], [0.1, 0.02]]")
    assert all(how.crossing is None for how in plan(line("Eb4 F4 Eb4 F4", 0.08), load("c-trumpet"), quick))
    assert any(how.crossing is not None for how in plan(line("Eb4 F4 Eb4 F4", 0.08), load("c-trumpet")))


def test_a_changed_trumpet_is_seen_at_once() -> None:
    long = load("c-trumpet")
    exact = replace(long, lengths=tuple(map(tube.valve_length, long.semitones)))
    notes = line("D4 C#4 D4", 2.0)
    assert [how.slides.third for how in plan(notes, exact)] != [how.slides.third for how in plan(notes, long)]
