"""Sheets of exercises as others read them: music21 note for note, the engraver page by page."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import music21
import pytest
from lxml import etree

from annotator.deciding import prepare
from annotator.engraving.engraving import Engraving
from annotator.exercises.choice import choose
from annotator.exercises.exercises import STEPS, bars_of, exercises
from annotator.options import Options
from tests.musicxml_schema import schema_errors
from tests.reference.corpus import BACH

DEMO_FOLDER = Path(__file__).parents[2] / "demo_scores"
DEMO = sorted([*DEMO_FOLDER.glob("*.musicxml"), *DEMO_FOLDER.glob("*.mxl")])


@pytest.mark.parametrize("path", DEMO, ids=lambda path: path.name[:2])
def test_music21_reads_the_crossings_and_fingerings_of_a_sheet(path: Path) -> None:
    data = path.read_bytes()
    chosen = choose(prepare(data, Options()))
    parsed = music21.converter.parseData(exercises(data).decode(), format="musicxml")
    assert isinstance(parsed, music21.stream.Score)
    notes = list(parsed.parts[0].recurse().getElementsByClass(music21.note.Note))
    pairs = [(one.pitch, two.pitch, one, two) for one, two in pairwise(notes)]
    for item in chosen:
        found = [
            (one, two)
            for left, right, one, two in pairs
            if (left.midi, right.midi) == (item.left.semitone, item.reached.semitone)
        ]
        # Half notes, quarters, and each rhythm begin with the two notes; then the bars around them.
        assert len(found) >= 5
        valves = [
            tuple(
                str(mark.fingerNumber)
                for note in pair
                for mark in note.articulations
                if isinstance(mark, music21.articulations.Fingering)
            )
            for pair in found
        ]
        assert (item.ways[0].valves, item.ways[1].valves) in valves


@pytest.mark.parametrize("path", DEMO, ids=lambda path: path.name[:2])
def test_the_bars_around_a_crossing_are_those_of_the_part_moved_by_the_interval_read(path: Path) -> None:
    data = path.read_bytes()
    prepared = prepare(data, Options())
    parsed = music21.converter.parseData(exercises(data).decode(), format="musicxml")
    assert isinstance(parsed, music21.stream.Score)
    heard = [
        note.pitch.midi
        for note in parsed.parts[0].recurse().getElementsByClass(music21.note.Note)
        if note.tie is None or note.tie.type == "start"
    ]
    for item in choose(prepared):
        place = item.places[0]
        first, last = bars_of(place)
        line = place.line.line
        expected = [
            music21.pitch.Pitch(note.pitch.name.replace("b", "-")).midi
            + place.part.at(note.onset).interval.chromatic
            for note in line.notes
            if first <= note.measure <= last
        ]
        starts = range(len(heard) - len(expected) + 1)
        times = sum(heard[start : start + len(expected)] == expected for start in starts)
        # Once at every step of the tempo.
        assert times >= len(STEPS)


@pytest.mark.parametrize("path", DEMO[:6], ids=lambda path: path.name[:2])
def test_a_sheet_can_be_engraved_and_its_words_are_on_the_page(path: Path) -> None:
    sheet = exercises(path.read_bytes())
    drawn = Engraving(sheet, kind="exercises", instrument="Trumpet in C")
    first = "".join(map(str, etree.fromstring(drawn.page(1).encode()).itertext()))
    assert "Exercises from" in first
    assert "1. " in first
    assert "numb" in first
    assert drawn.page_count <= 8


@pytest.mark.parametrize("path", BACH.values(), ids=BACH)
def test_a_chorale_of_three_trumpets_gives_a_valid_sheet(path: Path) -> None:
    sheet = exercises(path.read_bytes(), name=path.stem)
    assert not schema_errors(sheet)
    assert b"1. Part " in sheet
