"""What a key and its notes become when read at an interval."""

from __future__ import annotations

from functools import lru_cache

from annotator.pitch import STEP_INDEX, STEP_SEMITONES, STEPS, Interval, Pitch, transpose

SHARP_ORDER = "FCGDAEB"  # the order of sharps, a fifth apart; flats come the other way round
MOST_ACCIDENTALS = 6  # a key with more is read as its enharmonic; common practice
MOST_SIGNS = 2  # double sharps and double flats are kept, more are respelled


def read_key(fifths: int, interval: Interval) -> int:
    """The key signature ``fifths`` (sharps; flats negative) moved by ``interval``.

    A fifth up (4, 7) adds one sharp, an octave (7, 12) none: 7·chromatic − 12·diatonic. [computed]
    """
    return fifths + 7 * interval.chromatic - 12 * interval.diatonic


@lru_cache(maxsize=1024)
def interval_in_key(interval: Interval, fifths: int) -> Interval:
    """``interval``, or its enharmonic where the key read would pass six sharps or flats."""
    key = read_key(fifths, interval)
    while abs(key) > MOST_ACCIDENTALS:
        step = 1 if key > 0 else -1
        interval = Interval(interval.diatonic + step, interval.chromatic)
        key = read_key(fifths, interval)
    return interval


@lru_cache(maxsize=16384)
def read_pitch(pitch: Pitch, interval: Interval) -> Pitch:
    """``pitch`` read at ``interval``: the diatonic spelling.

    Double accidentals are kept, as the diatonic spelling demands; a note that would need a triple one
    or more is respelled as the simplest note that sounds the same.
    """
    read = transpose(pitch, interval)
    return read if abs(read.alter) <= MOST_SIGNS else simplest(read)


def simplest(pitch: Pitch) -> Pitch:
    """The same sound with the fewest signs, the side of the old sign where two spellings tie."""
    sound = pitch.semitone
    best: tuple[int, int, Pitch] | None = None
    for diatonic in range(pitch.diatonic - 3, pitch.diatonic + 4):
        octave, index = divmod(diatonic, 7)
        alter = sound - ((octave + 1) * 12 + STEP_SEMITONES[index])
        rank = (abs(alter), 0 if alter * pitch.alter >= 0 else 1)
        if best is None or rank < best[:2]:
            best = (*rank, Pitch(STEPS[index], alter, octave))
    assert best is not None
    return best[2]


@lru_cache(maxsize=64)
def alters_of_key(fifths: int) -> tuple[int, int, int, int, int, int, int]:
    """What a key signature does to C D E F G A B, in semitones."""
    alters = [0] * 7
    for number in range(abs(fifths)):
        step = SHARP_ORDER[number % 7] if fifths > 0 else SHARP_ORDER[6 - number % 7]
        alters[STEP_INDEX[step]] += 1 if fifths > 0 else -1
    return (alters[0], alters[1], alters[2], alters[3], alters[4], alters[5], alters[6])
