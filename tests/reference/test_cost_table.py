"""Crossings cost what the table says: added up again from costs.toml and the printed fingerings alone."""

from __future__ import annotations

import tomllib
from itertools import combinations, pairwise
from math import log2
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import annotator.fingering
from annotator.fingering import ReadNote, plan
from annotator.fingering.approach import Approach
from annotator.fingering.costing import Costing, costing_for
from annotator.fingering.crossing import UNIT
from annotator.fingering.model import Way
from annotator.fingering.profile import load_profile
from annotator.instruments import load
from tests.reference.test_planner_exact import lines

TABLE = tomllib.loads((Path(annotator.fingering.__file__).parent / "costs.toml").read_text(encoding="utf-8"))
COST: dict[str, float] = {row["key"]: row["value"] for row in TABLE["cost"]}
FINGER = {"1": "first", "2": "second", "3": "third", "4": "fourth"}
LOWERS = {"1": 2, "2": 1, "3": 3, "4": 5}


def expected(left: Way, reached: Way, slurred: bool) -> float:
    """The weight of a crossing, from what is printed: valves, partials, pitches."""
    before, after = (set(way.fingering.valves) - set("0-") for way in (left, reached))
    down, up = after - before, before - after
    cost = sum(COST[f"finger.{FINGER[valve]}"] for valve in down | up)
    if down and up:
        pairs = [
            "exchange.fourth" if "4" in (a, b) else "exchange." + "-".join(FINGER[v] for v in sorted((a, b)))
            for a in down
            for b in up
        ]
        cost += max(COST[pair] for pair in pairs)
        cost += COST["exchange.further-finger"] * (len(down | up) - 2)
    rise = reached.fingering.partial - left.fingering.partial
    if left.semitone == reached.semitone and left.fingering != reached.fingering:
        cost += COST["figure.change"]
    if not rise:
        return cost
    touch = "slurred" if slurred else "tongued"
    cost += COST[f"partial.{touch}"]
    tubing = sum(LOWERS[valve] for valve in after)
    low, high = sorted((left.semitone, reached.semitone))
    # Partial 1 of the open tube is written C3, 48 semitones above C−1.
    leapt = range(min(left.partial, reached.partial) + 1, max(left.partial, reached.partial))
    between = [n for n in leapt if low + 0.5 < 48 - tubing + 12 * log2(n) < high - 0.5]
    cost += COST[f"skip.{touch}"] * len(between)
    added = tubing - sum(LOWERS[valve] for valve in before)
    if added * rise > 0:
        way = "contrary." + (("rising" if rise > 0 else "falling") + "-slurred" if slurred else "tongued")
        cost += COST[way]
        if slurred and 2 in (left.fingering.partial, reached.fingering.partial):
            cost += COST["contrary.lowest-slurred"]
    elif slurred and before == after and not between:
        cost += COST["lip-slur." + ("rising" if rise > 0 else "falling")]
    if slurred and high - low >= 12:
        way = "rising" if reached.semitone > left.semitone else "falling"
        cost += COST[f"leap.octave-{way}"] + COST[f"leap.partial-{way}"] * len(between)
    elif not slurred and high - low >= 12:
        cost += COST["leap.partial-tongued"] * max(0, len(between) - COST["leap.free-partials"])
    n = reached.fingering.partial
    if n >= 8 and min(round(12 * log2((n + 1) / n)), round(12 * log2(n / (n - 1)))) <= 2:
        cost += COST[f"close-partials.{touch}"]
    return cost


def told_cost(costing: Costing, left: Way, reached: Way, slurred: bool) -> float:
    """What the program says a crossing costs at eight notes a second, in awkwardness."""
    return costing.crossing(left, reached, Approach(reached.semitone, 125, slurred, 0)) / UNIT


def all_ways(name: str) -> tuple[Costing, list[Way]]:
    costing = costing_for(load(name), load_profile("orchestral"))
    return costing, [way for semitone in range(50, 92) for way in costing.ways(semitone)]


@pytest.mark.parametrize("name", ["c-trumpet", "a-piccolo"])
@pytest.mark.parametrize("slurred", [False, True])
def test_every_crossing_of_the_instrument(name: str, slurred: bool) -> None:
    costing, ways = all_ways(name)
    assert costing.urgency[125] == UNIT
    for left in ways:
        for reached in ways:
            told = told_cost(costing, left, reached, slurred)
            assert told == pytest.approx(expected(left, reached, slurred), abs=0.003), (left, reached)


def test_the_unit() -> None:
    """1.0 is a tongued exchange of first and third finger at eight notes a second."""
    costing, ways = all_ways("c-trumpet")
    first, third = (next(w for w in ways if w.fingering.valves == v and w.partial == 2) for v in ("1", "3"))
    assert told_cost(costing, first, third, False) == 1.0


def test_urgency_is_the_table_between_its_points() -> None:
    costing, _ = all_ways("c-trumpet")
    for point in TABLE["urgency"]:
        milliseconds = point["seconds"] * 1000
        if milliseconds == round(milliseconds):
            assert costing.urgency[round(milliseconds)] == pytest.approx(point["factor"] * UNIT, abs=6)
    assert all(shorter >= longer for shorter, longer in pairwise(costing.urgency))
    grid = costing.measures.grid
    assert all(
        costing.urgency[ms] == costing.urgency[grid[ms]] and grid[ms] >= ms
        for ms in range(costing.measures.longest + 1)
    )


@settings(max_examples=150, deadline=None)
@given(lines(8, plain=True), st.booleans())
def test_a_mirror_in_time_costs_what_the_table_says(notes: list[ReadNote], slurred: bool) -> None:
    """The same fingerings backwards: each crossing costs its own mirror image in the table, no more."""
    instrument = load("c-trumpet")
    costing = costing_for(instrument, load_profile("orchestral"))
    even = [
        note._replace(onset=i * 0.125, duration=0.125, slurred=slurred, joined=True)
        for i, note in enumerate(notes)
    ]
    chosen = [played.fingering for played in plan(even, instrument)]
    ways = [
        next((way for way in costing.ways(note.pitch.semitone) if way.fingering == fingering), None)
        for note, fingering in zip(even, chosen, strict=True)
    ]
    for left, reached in pairwise(ways[::-1]):
        if left is None or reached is None:
            continue
        told = told_cost(costing, left, reached, slurred)
        assert told == pytest.approx(expected(left, reached, slurred), abs=0.003)
        forward = told_cost(costing, reached, left, slurred)
        if not slurred and max(left.partial, reached.partial) < 8 and left.tubing == reached.tubing:
            assert told == forward


def test_every_row_has_unit_and_reason() -> None:
    keys = [row["key"] for row in TABLE["cost"]]
    assert len(set(keys)) == len(keys)
    assert all(row["unit"].strip() and row["why"].strip().endswith(".") for row in TABLE["cost"])


def test_exchanges_with_the_ring_finger_are_worst() -> None:
    """Common practice, no source."""
    costing, ways = all_ways("c-trumpet")
    on_partial_3 = {way.fingering.valves: way for way in ways if way.partial == 3}
    costs = {
        (a, b): told_cost(costing, on_partial_3[a], on_partial_3[b], False)
        for a, b in combinations(["0", "1", "2", "3", "1-2", "1-3", "2-3"], 2)
    }
    assert costs["1", "2"] < costs["1", "3"]
    assert costs["1", "2"] < costs["1-2", "2-3"]
    assert max(costs, key=costs.__getitem__) in {("1", "2-3"), ("2", "1-3"), ("3", "1-2")}
