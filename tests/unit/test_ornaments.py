"""The other notes of ornaments: by key, by accidental, as read on another instrument."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotator.fingering import ReadNote, plan
from annotator.fingering.ornaments import neighbour, neighbours, read_ornament
from annotator.fingering.sentences import crossing_sentence
from annotator.instruments import load
from annotator.keys import alters_of_key
from annotator.pitch import STEPS, Interval, Pitch, transpose
from annotator.score.model import Ornament

TRILL = Ornament("trill-mark")


@pytest.mark.parametrize("fifths", range(-7, 8))
def test_key_signatures_against_music21(fifths: int) -> None:
    from music21.key import KeySignature

    signature = KeySignature(fifths)
    altered = {pitch.step: pitch.accidental.alter for pitch in signature.alteredPitches if pitch.accidental}
    for step in "CDEFGAB":
        assert alters_of_key(fifths)[STEPS.index(step)] == altered.get(step, 0)


@pytest.mark.parametrize(
    ("name", "fifths", "ornament", "found"),
    [
        ("G4", 0, TRILL, ["A4"]),
        ("G4", -3, TRILL, ["Ab4"]),
        ("G4", -3, Ornament("trill-mark", above=0), ["A4"]),
        ("B4", 0, TRILL, ["C5"]),
        ("B4", 0, Ornament("trill-mark", above=1), ["C#5"]),
        ("E4", 0, Ornament("mordent"), ["D4"]),
        ("E4", 0, Ornament("mordent", below=1), ["D#4"]),
        ("E4", 0, Ornament("inverted-mordent"), ["F4"]),
        ("D5", 1, Ornament("turn"), ["E5", "C5"]),
        ("D5", 1, Ornament("inverted-turn", below=1), ["C#5", "E5"]),
        ("D5", 1, Ornament("tremolo-single"), []),
        # An accidental on the main note does not make the trill a third or a unison.
        ("Ab4", 0, TRILL, ["Bb4"]),
        ("B#4", 0, TRILL, ["C#5"]),
    ],
)
def test_neighbours(name: str, fifths: int, ornament: Ornament, found: list[str]) -> None:
    assert [n.pitch.name for n in neighbours(Pitch.parse(name), fifths, (ornament,))] == found


PITCHES = st.builds(Pitch, st.sampled_from("CDEFGAB"), st.integers(-1, 1), st.integers(3, 5))
INTERVALS = st.sampled_from(
    [Interval(0, 0), Interval(2, 4), Interval(-1, -2), Interval(4, 7), Interval(3, 6)]
)


@given(PITCHES, st.integers(-7, 7), INTERVALS, st.sampled_from([None, -1, 0, 1]))
def test_an_ornament_read_transposed_sounds_the_same(
    written: Pitch, fifths: int, interval: Interval, above: int | None
) -> None:
    read = transpose(written, interval)
    moved = read_ornament(Ornament("trill-mark", above=above), written, fifths, read)
    there = neighbour(written, fifths, "above", above)
    here = neighbour(read, 0, "above", moved.above)
    assert here.semitone - read.semitone == there.semitone - written.semitone
    assert here.diatonic - read.diatonic == 1


def test_a_sharp_may_become_a_natural() -> None:
    """E♭4 with a natural trill, read up a major third: G4 to A♮4, whatever was printed."""
    moved = read_ornament(Ornament("trill-mark", above=0), Pitch.parse("Eb4"), -3, Pitch.parse("G4"))
    assert moved.above == 0
    moved = read_ornament(TRILL, Pitch.parse("D4"), 0, Pitch.parse("F#4"))
    assert moved.above == 1


def test_turns_have_two_neighbours_and_trills_one() -> None:
    notes = [
        ReadNote(Pitch.parse("D5"), 0, 1, ornaments=(Ornament("turn"),), fifths=1),
        ReadNote(Pitch.parse("D5"), 1, 1, ornaments=(TRILL,), fifths=1),
    ]
    turn, trill = plan(notes, load("c-trumpet"))
    assert [(a.pitch.name, a.side) for a in turn.auxiliaries] == [("E5", "above"), ("C5", "below")]
    assert [a.pitch.name for a in trill.auxiliaries] == ["E5"]
    assert trill.trill is not None
    assert trill.trill.valves == "0"


def test_a_trill_out_of_reach_is_flagged() -> None:
    note = ReadNote(Pitch.parse("G6"), 0, 1, ornaments=(TRILL,))
    (played,) = plan([note], load("c-trumpet"))
    assert played.trill is None
    assert played.crossing is not None
    assert "out of reach" in crossing_sentence(played.crossing)


def test_grace_notes_have_no_time_of_their_own_but_cost_some() -> None:
    notes = [
        ReadNote(Pitch.parse("G4"), 0.0, 1.0),
        ReadNote(Pitch.parse("Ab4"), 1.0, 0.0, True, grace=True),
        ReadNote(Pitch.parse("Bb4"), 1.0, 1.0, True),
    ]
    *_, last = plan(notes, load("c-trumpet"))
    assert last.crossing is not None
    assert "a grace note apart" in crossing_sentence(last.crossing)


def test_a_fingered_tremolo_is_fast_whatever_its_notes_last() -> None:
    notes = [
        ReadNote(Pitch.parse("Ab4"), 0.0, 2.0, ornaments=(Ornament("tremolo-start"),)),
        ReadNote(Pitch.parse("Bb4"), 2.0, 2.0, ornaments=(Ornament("tremolo-stop"),)),
    ]
    last = plan(notes, load("c-trumpet"))[-1]
    assert last.crossing is not None
    assert "finger exchange" in last.crossing.reasons
    assert "as a tremolo" in crossing_sentence(last.crossing)
