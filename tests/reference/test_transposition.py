"""Transposing, keys and spelling against music21, an independent implementation of interval arithmetic."""

from __future__ import annotations

from functools import lru_cache

import music21
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotator.instruments import available, load
from annotator.keys import alters_of_key, simplest
from annotator.pitch import STEPS, Interval, Pitch, transpose
from annotator.reading import CROOKS, Crook, read_interval_in_key, read_key, read_pitch, segments
from tests.unit.part_making import part


@lru_cache(maxsize=256)
def m21_interval(interval: Interval) -> music21.interval.Interval:
    """The same interval in music21, whose generic interval counts the first step as 1."""
    down = interval.diatonic < 0 or (interval.diatonic == 0 and interval.chromatic < 0)
    size = abs(interval.diatonic) + 1
    return music21.interval.intervalFromGenericAndChromatic(
        music21.interval.GenericInterval(-size if down and interval.diatonic else size),
        music21.interval.ChromaticInterval(interval.chromatic),
    )


def m21_pitch(pitch: Pitch) -> music21.pitch.Pitch:
    return music21.pitch.Pitch(pitch.name.replace("b", "-"))


def spelled(pitch: music21.pitch.Pitch) -> tuple[str, int, int | None]:
    return (pitch.step, int(pitch.alter), pitch.octave)


def all_spelled_pitches() -> list[Pitch]:
    """F♯3 to C6, the written range of three valves, in every spelling with up to two signs."""
    pitches = [
        Pitch(step, alter, octave) for octave in range(2, 8) for step in STEPS for alter in range(-2, 3)
    ]
    return [pitch for pitch in pitches if 54 <= pitch.semitone <= 84]


PITCHES = all_spelled_pitches()


@pytest.mark.parametrize("crook", CROOKS, ids=[crook.id for crook in CROOKS])
def test_every_crook_on_every_instrument_and_pitch(crook: Crook) -> None:
    """The interval read, and each note of the range under it, spelling included."""
    made = part(transposes=[(1, (crook.sounding.diatonic, crook.sounding.chromatic))])
    for instrument in available():
        held = load(instrument).transposition
        (segment,) = segments(made, held).segments
        interval = m21_interval(segment.read)
        sounding, in_hand = m21_interval(crook.sounding), m21_interval(held)
        for pitch in PITCHES:
            read = transpose(pitch, segment.read)
            assert spelled(interval.transposePitch(m21_pitch(pitch), maxAccidental=None)) == (
                read.step, read.alter, read.octave,
            )  # fmt: skip
            # And the other way round: what is read sounds, on this instrument, as the part does on its crook.
            assert spelled(in_hand.transposePitch(m21_pitch(read), maxAccidental=None)) == spelled(
                sounding.transposePitch(m21_pitch(pitch), maxAccidental=None)
            )


def test_the_range_is_covered() -> None:
    assert len(available()) >= 10
    assert len(PITCHES) > 80
    assert {pitch.semitone for pitch in PITCHES} == set(range(54, 85))


intervals = st.builds(Interval, st.integers(-15, 15), st.integers(-25, 25))
pitches = st.builds(Pitch, st.sampled_from(STEPS), st.integers(-2, 2), st.integers(0, 8))


@given(pitches, intervals)
def test_up_then_down_is_the_identity(pitch: Pitch, interval: Interval) -> None:
    assert transpose(transpose(pitch, interval), -interval) == pitch


@given(st.integers(-7, 7), st.sampled_from(CROOKS), st.sampled_from(CROOKS))
def test_keys(fifths: int, crook: Crook, other: Crook) -> None:
    """music21 transposes the key's tonic; the key signature read has that tonic."""
    interval = crook.sounding - other.sounding
    tonic = music21.key.KeySignature(fifths).asKey("major").tonic
    moved = m21_interval(interval).transposePitch(tonic, maxAccidental=None)
    assert read_key(fifths, interval) == music21.key.pitchToSharps(moved)


@given(st.integers(-7, 7), st.sampled_from(CROOKS), st.sampled_from(CROOKS))
def test_enharmonic_keys_sound_the_same(fifths: int, crook: Crook, other: Crook) -> None:
    made = part(transposes=[(1, (crook.sounding.diatonic, crook.sounding.chromatic))])
    (segment,) = segments(made, other.sounding).segments
    interval = read_interval_in_key(segment, fifths)
    key = read_key(fifths, interval)
    assert abs(key) <= 6
    tonic = music21.key.KeySignature(fifths).asKey("major").tonic
    expected = m21_interval(segment.read).transposePitch(tonic, maxAccidental=None)
    assert music21.key.KeySignature(key).asKey("major").tonic.pitchClass == expected.pitchClass


@given(st.integers(-7, 7))
def test_key_signatures_alter_what_music21_says(fifths: int) -> None:
    altered = {pitch.step: int(pitch.alter) for pitch in music21.key.KeySignature(fifths).alteredPitches}
    assert alters_of_key(fifths) == tuple(altered.get(step, 0) for step in STEPS)


@given(pitches, st.sampled_from(CROOKS), st.sampled_from(CROOKS))
def test_what_is_printed_has_two_signs_at_most(pitch: Pitch, crook: Crook, other: Crook) -> None:
    """Double accidentals are kept as the diatonic spelling has them, more are respelled; the sound stays."""
    interval = crook.sounding - other.sounding
    read, diatonic = read_pitch(pitch, interval), transpose(pitch, interval)
    assert abs(read.alter) <= 2
    assert read.semitone == pitch.semitone + interval.chromatic
    if abs(diatonic.alter) <= 2:
        assert read == diatonic


@given(st.builds(Pitch, st.sampled_from(STEPS), st.integers(-4, 4), st.integers(1, 7)))
def test_simplest_spelling(pitch: Pitch) -> None:
    """As simple as music21's, and the same sound."""
    simple = simplest(pitch)
    assert simple.semitone == pitch.semitone
    theirs = m21_pitch(pitch).simplifyEnharmonic()
    assert theirs is not None
    assert abs(simple.alter) <= abs(int(theirs.alter))
