"""Inference against real parts in music21's corpus, and against melodies of one crook's partials.

The corpus holds three Bach cantata movements with trumpets at concert pitch: BWV 69 and 29 in D, 137 in C.
That all their notes are natural partials of such trumpets was counted in these files with music21.
"""

from __future__ import annotations

from pathlib import Path

import music21
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotator.instruments import load
from annotator.pitch import Interval, Pitch, transpose
from annotator.reading import CROOKS, Crook, infer, is_trumpet, natural_partial, segments
from annotator.score.model import Score
from annotator.score.reader import open_text, read
from annotator.score.source import open_source

CORPUS = Path(music21.__file__).parent / "corpus" / "bach"


def score(name: str) -> Score:
    source = open_source((CORPUS / name).read_bytes())
    return read(open_text(source.text), (), is_trumpet)


@pytest.mark.parametrize(
    ("name", "crook"), [("bwv69.6.xml", "D"), ("bwv29.8.mxl", "D"), ("bwv137.5.mxl", "C")]
)
@pytest.mark.parametrize("option", ["auto", "infer"])
def test_bach(name: str, crook: str, option: str) -> None:
    found = score(name)
    assert len(found.parts) == 3
    together = infer(note.pitch for part in found.parts for line in part.lines for note in line.notes)
    assert together.crook is not None
    assert together.crook.id == crook
    assert together.score == 1
    assert together.unnatural == ()
    for part in found.parts:
        reading = segments(part, load("c-trumpet"), option, found.parts)
        (segment,) = reading.segments
        assert segment.natural_crook.id == crook
        # It is named, and nothing moves: the part sounds as written.
        assert not segment.differs
        for line in part.lines:
            for note in line.notes:
                assert natural_partial(note.pitch.semitone, segment.natural_crook) is not None


@pytest.mark.parametrize(
    ("name", "crook"), [("bwv69.6.xml", "D"), ("bwv29.8.mxl", "D"), ("bwv137.5.mxl", "C")]
)
def test_music21_writes_the_same_old_part(name: str, crook: str) -> None:
    """As an old part would be written for the crook, the notes equal those that music21 transposes."""
    interval = {"D": "-M2", "C": "P1"}[crook]
    theirs = music21.converter.parse(CORPUS / name)
    assert isinstance(theirs, music21.stream.Score)
    found = score(name)
    for part in found.parts:
        (stream,) = [each for each in theirs.parts if each.partName == part.name]
        moved = stream.flatten().stripTies().transpose(interval)
        expected = [pitch.nameWithOctave.replace("-", "b") for note in moved.notes for pitch in note.pitches]
        (segment,) = segments(part, load("c-trumpet"), "infer", found.parts).segments
        move = segment.old_part or Interval(0, 0)
        assert [transpose(note.pitch, move).name for line in part.lines for note in line.notes] == expected


# The natural trumpet's partials 2 to 16 as its part writes them: computed; 7, 11, 13 are common practice.
WRITTEN = ["C3", "G3", "C4", "E4", "G4", "Bb4", "C5", "D5", "E5", "F5", "F#5", "G5", "A5", "Bb5", "B5", "C6"]
INFERRED = [crook for crook in CROOKS if crook.infer]


@given(st.sampled_from(INFERRED), st.lists(st.sampled_from(WRITTEN), max_size=120))
def test_right_or_cannot_tell(crook: Crook, melody: list[str]) -> None:
    inference = infer(transpose(Pitch.parse(name), crook.sounding) for name in melody)
    assert inference.crook in (crook, None)
    if inference.crook is None:
        assert inference.words.startswith("can't tell")


@given(st.sampled_from(INFERRED), st.lists(st.sampled_from(WRITTEN), min_size=3, max_size=4, unique=True))
def test_few_pitches_fit_several_crooks(crook: Crook, pitches: list[str]) -> None:
    """Three or four pitches over and over: where another crook fits them as well, nothing is claimed."""
    melody = [transpose(Pitch.parse(name), crook.sounding) for name in pitches * 5]
    inference = infer(melody)
    assert inference.crook in (crook, None)
    others = [
        other
        for other in INFERRED
        if other != crook and all(natural_partial(pitch.semitone, other) is not None for pitch in melody)
    ]
    assert (inference.crook is None) == bool(others)


@given(st.sampled_from(INFERRED), st.permutations(WRITTEN * 3))
def test_a_melody_of_all_partials_tells(crook: Crook, melody: list[str]) -> None:
    inference = infer(transpose(Pitch.parse(name), crook.sounding) for name in melody)
    assert inference.crook == crook
    assert inference.runner_up not in (crook, None)
    assert inference.runner_up_score < inference.score


@given(st.sampled_from(INFERRED), st.lists(st.integers(54, 84), min_size=60, max_size=120))
def test_notes_of_no_crook_are_counted(crook: Crook, sounds: list[int]) -> None:
    """A chromatic line: whatever is said, the notes not natural are all listed."""
    pitches = [spell(sound) for sound in sounds]
    inference = infer(pitches)
    assert inference.best is not None
    listed = sum(times for _, times in inference.unnatural)
    natural = sum(natural_partial(sound, inference.best) is not None for sound in sounds)
    assert listed == len(sounds) - natural
    assert inference.score == pytest.approx(natural / len(sounds))
    if inference.score < 0.9:
        assert inference.crook is None
        assert "too few notes are natural" in inference.words


def spell(sound: int) -> Pitch:
    octave, semitone = divmod(sound, 12)
    name = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"][semitone]
    return Pitch.parse(f"{name}{octave - 1}")


def test_no_notes() -> None:
    assert infer([]).crook is None
