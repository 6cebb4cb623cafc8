"""The usual chart, note by note.

Source: common practice, from memory; the chart printed at the front of every trumpet method.
"""

from __future__ import annotations

import pytest

from annotator.fingering import candidates, usual
from annotator.instruments import available, load
from annotator.pitch import Pitch

CHART = """
F#3 1-2-3 2 | G3 1-3 2 | Ab3 2-3 2 | A3 1-2 2 | Bb3 1 2 | B3 2 2 | C4 0 2 | C#4 1-2-3 3 | D4 1-3 3 |
Eb4 2-3 3 | E4 1-2 3 | F4 1 3 | F#4 2 3 | G4 0 3 | Ab4 2-3 4 | A4 1-2 4 | Bb4 1 4 | B4 2 4 | C5 0 4 |
C#5 1-2 5 | D5 1 5 | Eb5 2 5 | E5 0 5 | F5 1 6 | F#5 2 6 | G5 0 6 | Ab5 2-3 8 | A5 1-2 8 | Bb5 1 8 |
B5 2 8 | C6 0 8
"""
ROWS = [tuple(row.split()) for row in CHART.replace("\n", " ").split("|")]
THREE_VALVES = [name for name in available() if load(name).valve_count == 3]

# Above C6 players differ; every way named in the same charts is offered (common practice, from memory).
HIGH = {
    "C#6": {"1-2", "2"},
    "D6": {"1", "0"},
    "Eb6": {"2"},
    "E6": {"0"},
    "F6": {"1"},
    "F#6": {"2"},
    "G6": {"0"},
}
# Alternates on the next partial up, or with the third valve for 1-2 (common practice, from memory).
ALTERNATES = [
    ("E4", "3", 3),
    ("A4", "3", 4),
    ("A5", "3", 8),
    ("G4", "1-3", 4),
    ("C5", "2-3", 5),
    ("E5", "1-2", 6),
    ("G5", "1-3", 8),
]


def test_the_chart_is_whole() -> None:
    assert [Pitch.parse(row[0]).semitone for row in ROWS] == list(range(54, 85))
    assert len(THREE_VALVES) >= 8


@pytest.mark.parametrize("name", THREE_VALVES)
def test_every_three_valve_instrument_follows_the_chart(name: str) -> None:
    instrument = load(name)
    for pitch, valves, partial in ROWS:
        found = usual(Pitch.parse(pitch).semitone, instrument)
        assert found is not None, pitch
        assert (found.valves, str(found.partial)) == (valves, partial), pitch


@pytest.mark.parametrize("name", THREE_VALVES)
def test_high_notes_offer_what_players_use(name: str) -> None:
    for pitch, ways in HIGH.items():
        offered = [item.valves for item in candidates(Pitch.parse(pitch).semitone, load(name))]
        assert ways <= set(offered), pitch
        assert offered[0] in ways, pitch


@pytest.mark.parametrize(("pitch", "valves", "partial"), ALTERNATES)
def test_alternates(pitch: str, valves: str, partial: int) -> None:
    offered = candidates(Pitch.parse(pitch).semitone, load("c-trumpet"))
    assert (valves, partial) in [(item.valves, item.partial) for item in offered[1:]]


@pytest.mark.parametrize("name", available())
def test_barred_partials_stay_out_until_asked_for(name: str) -> None:
    instrument = load(name)
    for semitone in range(30, 110):
        assert all(item.partial in instrument.partials for item in candidates(semitone, instrument))
    asked = candidates(Pitch.parse("Bb5").semitone, instrument, (7,))
    assert ("0", 7, -31.2) in [(item.valves, item.partial, item.cents) for item in asked]


@pytest.mark.parametrize("name", THREE_VALVES)
def test_three_valves_end_at_f_sharp(name: str) -> None:
    assert candidates(53, load(name)) == ()


@pytest.mark.parametrize("name", ["a-piccolo", "bb-piccolo"])
def test_fourth_valve(name: str) -> None:
    """4 for 1-3, 2-4 for 1-2-3, and further down (common practice, no source)."""
    instrument = load(name)
    chart = {54: "2-4", 55: "4", 61: "2-4", 62: "4", 53: "1-4", 52: "1-2-4"}
    for semitone, valves in chart.items():
        found = usual(semitone, instrument)
        assert found is not None
        assert found.valves == valves
    assert usual(51, instrument) is None


@pytest.mark.parametrize("name", available())
def test_partials_asked_for_change_no_chart(name: str) -> None:
    instrument = load(name)
    for semitone in range(instrument.low.semitone, 85):
        assert candidates(semitone, instrument, (7, 11))[0] == usual(semitone, instrument)
