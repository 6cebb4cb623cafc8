"""Exercises: from the worst crossings, as read, with rests as long as what is played."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from lxml import etree

import annotator
from annotator.deciding import prepare
from annotator.errors import NothingToPractise
from annotator.exercises.choice import FEW, MOST, choose
from annotator.exercises.exercises import CAUTION, UNFLAGGED, exercises, metronome_number
from annotator.options import Options
from annotator.score.numbers import number_of, text_of
from tests.musicxml_schema import schema_errors

DEMO_FOLDER = Path(__file__).parents[2] / "demo_scores"
DEMO = sorted([*DEMO_FOLDER.glob("*.musicxml"), *DEMO_FOLDER.glob("*.mxl")])
STUDY = next(path for path in DEMO if path.name.startswith("06_"))


def quick_part(
    names: list[str], *, transpose: str = "", note_type: str = "16th", fifths: int = 0, slurred: bool = False
) -> bytes:
    """A part of sixteenth notes (or others) at a quarter of 132, sixteen divisions to a 4/4 bar."""
    length = {"16th": 1, "quarter": 4, "whole": 16}[note_type]
    per_bar = 16 // length
    bars = []
    for start in range(0, len(names), per_bar):
        group = names[start : start + per_bar]
        notes = ""
        for place, name in enumerate(group):
            alter = {"#": "<alter>1</alter>", "b": "<alter>-1</alter>"}.get(name[1:-1], "")
            slur = ""
            if slurred and place in (0, len(group) - 1) and len(group) > 1:
                slur = f"<notations><slur type='{'stop' if place else 'start'}'/></notations>"
            notes += (
                f"<note><pitch><step>{name[0]}</step>{alter}<octave>{name[-1]}</octave></pitch>"
                f"<duration>{length}</duration><voice>1</voice><type>{note_type}</type>{slur}</note>"
            )
        left = 16 - length * len(group)
        notes += f"<note><rest/><duration>{left}</duration><voice>1</voice></note>" if left else ""
        head = ""
        if start == 0:
            head = (
                f"<attributes><divisions>4</divisions><key><fifths>{fifths}</fifths></key><time><beats>4</beats>"
                f"<beat-type>4</beat-type></time>{transpose}</attributes><direction><direction-type><metronome>"
                "<beat-unit>quarter</beat-unit><per-minute>132</per-minute></metronome></direction-type>"
                "</direction>"
            )
        bars.append(f'<measure number="{start // per_bar + 1}">{head}{notes}</measure>')
    return (
        '<score-partwise version="4.0"><work><work-title>Quick</work-title></work><part-list>'
        '<score-part id="P1"><part-name>Trumpet</part-name></score-part></part-list>'
        f'<part id="P1">{"".join(bars)}</part></score-partwise>'
    ).encode()


def is_rest_bar(measure: etree._Element) -> bool:
    notes = measure.findall("note")
    return len(notes) == 1 and notes[0].find("rest[@measure]") is not None


def blocks(root: etree._Element) -> list[tuple[list[float], list[float]]]:
    """Blocks played and the rests after them, as lengths of measures in quarters."""
    divisions = 1.0
    found: list[tuple[bool, float]] = []
    for measure in root.iterfind("part/measure"):
        for change in measure.iterfind("attributes/divisions"):
            divisions = number_of(change, 1.0)
        quarters = sum(number_of(each.find("duration"), 0.0) for each in measure.iterfind("*")) / divisions
        found.append((is_rest_bar(measure), quarters))
    runs = [(rest, [quarters for _, quarters in run]) for rest, run in groupby(found, lambda bar: bar[0])]
    assert runs[0][0] is False
    assert len(runs) % 2 == 0, "the sheet ends with a rest"
    return [(runs[place][1], runs[place + 1][1]) for place in range(0, len(runs), 2)]


def said(root: etree._Element) -> list[str]:
    return [text_of(words) for words in root.iter("words")]


@pytest.mark.parametrize("instrument", ["c-trumpet", "bb-trumpet", "a-piccolo"])
@pytest.mark.parametrize("path", DEMO, ids=lambda path: path.name[:2])
def test_a_sheet_for_every_demo_part_is_valid_and_rests_as_long_as_it_plays(
    path: Path, instrument: str
) -> None:
    options = Options(instrument=instrument)
    sheet = exercises(path.read_bytes(), options, path.stem)
    assert not schema_errors(sheet)
    root = etree.fromstring(sheet)
    assert CAUTION in said(root)
    for played, rests in blocks(root):
        assert sum(rests) >= sum(played) - 1e-6
    # The sheet can be marked itself, and its own fingerings are those of the plan or said to be others.
    marked = annotator.annotate(sheet, Options(instrument=instrument))
    source = annotator.annotate(path.read_bytes(), options)
    assert (marked.report["summary"]["out_of_range"] > 0) <= (source.report["summary"]["out_of_range"] > 0)
    assert {segment["read"]["words"] for part in marked.report["parts"] for segment in part["segments"]} == {
        marked.report["parts"][0]["segments"][0]["read"]["words"]
    }
    assert annotator.strip(marked.data) == sheet


def test_the_worst_crossing_comes_first_as_read_with_its_fingerings() -> None:
    # E flat (2-3) to F (1): three fingers change at once; on a B flat part a C trumpet reads it a tone lower.
    moved = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    sheet = exercises(quick_part(["F4", "G4"] * 8, transpose=moved, slurred=True))
    root = etree.fromstring(sheet)
    assert said(root)[0].startswith("E♭4–F4")
    heading = next(text for text in said(root) if text.startswith("1. "))
    assert heading.startswith("1. Measure 1: 2-3 to 1, ")
    assert "finger exchange" in heading
    first = root.find("part/measure")
    assert first is not None
    assert [text_of(pitch.find("step")) for pitch in first.iter("pitch")] == ["E", "F"]
    assert [text_of(each) for each in first.iter("fingering")] == ["2-3", "1"]
    assert [text_of(each) for each in first.iter("accidental")] == ["flat"]


def test_the_bars_come_slower_first_and_in_tempo_last() -> None:
    root = etree.fromstring(exercises(quick_part(["Eb4", "F4"] * 8)))
    marks = [float(text_of(mark)) for mark in root.iter("per-minute")]
    steps = marks[1:5]
    assert marks[0] == 60
    assert steps == sorted(steps)
    assert steps[0] == 66
    assert steps[-1] == 132
    sounds = [float(sound.get("tempo", "0")) for sound in root.iter("sound")]
    assert sounds == marks


def test_what_the_report_offers_instead_gets_bars_of_its_own() -> None:
    data = quick_part(["G#4", "A4"] * 8)
    prepared = prepare(data, Options(profile="student"))
    practice = next(item for item in choose(prepared, "student") if item.other is not None)
    assert practice.other is not None
    root = etree.fromstring(exercises(data, Options(profile="student")))
    valves = practice.other[0].valves, practice.other[1].valves
    assert f"{practice.other_words}: {valves[0]} to {valves[1]}" in said(root)
    measure = next(
        each
        for each in root.iterfind("part/measure")
        if any(text_of(words).startswith(practice.other_words) for words in each.iter("words"))
    )
    assert [text_of(each) for each in measure.iter("fingering")] == list(valves)


def test_six_eight_is_counted_in_dotted_quarters_and_the_key_is_the_one_read() -> None:
    path = next(path for path in DEMO if path.name.startswith("09_"))
    prepared = prepare(path.read_bytes(), Options())
    root = etree.fromstring(exercises(path.read_bytes()))
    assert root.find(".//beat-unit-dot") is not None
    keys = {int(text_of(key)) for key in root.iter("fifths")}
    assert keys <= {stretch.read_fifths or 0 for stretch in prepared.played[0].at.stretches}


def test_a_part_without_flags_gets_its_busiest_moves_and_is_told_so() -> None:
    data = next(path for path in DEMO if path.name.startswith("01_")).read_bytes()
    chosen = choose(prepare(data, Options()))
    assert {item.grade for item in chosen} == {0}
    assert 0 < len(chosen) <= FEW
    assert UNFLAGGED in said(etree.fromstring(exercises(data)))
    assert [item.cost for item in chosen] == sorted((item.cost for item in chosen), reverse=True)


def test_nothing_to_practise_is_said_and_not_made_up() -> None:
    with pytest.raises(NothingToPractise, match="no crossing") as raised:
        exercises(quick_part(["C5", "G4", "C5"], note_type="whole"))
    assert raised.value.code == "nothing-to-practise"


def test_ties_and_slurs_from_outside_are_cut() -> None:
    for path in DEMO:
        root = etree.fromstring(exercises(path.read_bytes(), name=path.stem))
        for kind in ("slur", "tied"):
            starts = sum(1 for _ in root.iterfind(f".//{kind}[@type='start']"))
            stops = sum(1 for _ in root.iterfind(f".//{kind}[@type='stop']"))
            assert starts == stops, (path.name, kind)


def test_metronome_numbers() -> None:
    assert metronome_number(66.3) == 66
    assert metronome_number(33) == 33
    assert metronome_number(111) == 112
    assert metronome_number(400) == 400


PITCHES = st.sampled_from(
    [
        "F#3",
        "G3",
        "Ab3",
        "A3",
        "C#4",
        "D4",
        "Eb4",
        "E4",
        "F4",
        "G4",
        "Ab4",
        "A4",
        "Bb4",
        "C5",
        "C#5",
        "D5",
        "E5",
        "F5",
        "F#5",
        "G5",
        "Ab5",
        "A5",
        "Bb5",
        "B5",
        "C6",
    ]
)


@settings(deadline=None, max_examples=30, suppress_health_check=[HealthCheck.too_slow])
@given(
    names=st.lists(PITCHES, min_size=2, max_size=32),
    fifths=st.integers(-6, 6),
    instrument=st.sampled_from(["c-trumpet", "bb-trumpet"]),
    slurred=st.booleans(),
)
def test_any_quick_part_gives_a_valid_sheet_of_its_own_crossings(
    names: list[str], fifths: int, instrument: str, slurred: bool
) -> None:
    data = quick_part(names, fifths=fifths, slurred=slurred)
    options = Options(instrument=instrument)
    chosen = choose(prepare(data, options))
    assert len(chosen) <= MOST
    grades = [item.grade for item in chosen]
    assert grades == sorted(grades, reverse=True)
    assume(bool(chosen))
    sheet = exercises(data, options)
    assert not schema_errors(sheet)
    for played, rests in blocks(etree.fromstring(sheet)):
        assert sum(rests) >= sum(played) - 1e-6
    for item in chosen:
        place = item.places[0]
        assert place.line.pitches[place.index] == (item.left if item.trill else item.reached)
