"""The tube's acoustics against formulas and published figures.

Sources: the harmonic series (whole-number multiples of a fundamental), equal temperament, ISO 16
(A4 = 440 Hz); printed figures computed from these by hand and published lengths where named.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from math import isclose, log2
from pathlib import Path

import pytest

import annotator.instruments
from annotator.fingering import candidates
from annotator.instruments import Instrument, available, from_toml, load, tube
from annotator.pitch import Pitch

HARMONIC_CENTS = {
    2: 0.0,
    3: 2.0,
    4: 0.0,
    5: -13.7,
    6: 2.0,
    7: -31.2,
    8: 0.0,
    9: 3.9,
    10: -13.7,
    11: -48.7,
    12: 2.0,
    13: 40.5,
    14: -31.2,
    15: -11.7,
    16: 0.0,
}
COMBINATION_CENTS = {
    "0": 0.0,
    "2": 0.0,
    "1": 0.0,
    "3": 0.0,
    "1-2": 10.6,
    "2-3": 15.5,
    "1-3": 30.3,
    "1-2-3": 53.6,
}
"""With every valve alone in tune; published with the same result: "Why the math doesn't add up", Brass
Pedagogy, James Madison University, 2016."""
LONG_THIRD_CENTS = {**COMBINATION_CENTS, "3": -16.3, "2-3": 0.0, "1-3": 15.5, "1-2-3": 39.4}
"""With the third valve cut so that 2-3 is exact, as our trumpets of three valves are (computed by hand). The
table of the Xenharmonic Wiki's article "Trumpet" has the third long too, with other lengths."""


@pytest.mark.parametrize(("n", "cents"), HARMONIC_CENTS.items())
def test_partials_against_the_harmonic_series(n: int, cents: float) -> None:
    assert round(tube.partial_deviation(n), 1) == cents
    # The same from ratios: partial n against the nearest tempered pitch, n / 2^(k/12).
    ratio = n / 2 ** (tube.partial_semitones(n) / 12)
    assert isclose(tube.partial_deviation(n), 1200 * log2(ratio), abs_tol=1e-9)


def test_just_intervals_between_partials() -> None:
    """2→3 a fifth (702 cents), 3→4 a fourth (498), 4→5 a third (386), 8→9 a tone (204): just intonation."""
    for pair, cents in {(2, 3): 702, (3, 4): 498, (4, 5): 386, (8, 9): 204}.items():
        assert round(tube.partial_cents(pair[1]) - tube.partial_cents(pair[0])) == cents
        assert round(1200 * log2(Fraction(pair[1], pair[0]))) == cents


def exact(name: str = "c-trumpet") -> Instrument:
    """The trumpet with every valve alone in tune, as a user's file may say."""
    instrument = load(name)
    return replace(instrument, lengths=tuple(map(tube.valve_length, instrument.semitones)))


@pytest.mark.parametrize("name", [name for name in available() if load(name).valve_count == 3])
def test_combinations_add_lengths(name: str) -> None:
    for instrument, cents in ((exact(name), COMBINATION_CENTS), (load(name), LONG_THIRD_CENTS)):
        found = {item.name: item for item in instrument.combinations}
        assert {key: round(item.cents, 1) for key, item in found.items()} == cents
        for item in found.values():
            parts = [length for bit, length in enumerate(instrument.lengths) if item.mask >> bit & 1]
            assert isclose(item.cents, 100 * item.semitones - 1200 * log2(1 + sum(parts)), abs_tol=1e-5)


def test_exact_valves_remain_possible_in_a_file() -> None:
    text = (Path(annotator.instruments.__file__).parent / "c-trumpet.toml").read_text(encoding="utf-8")
    own = from_toml(re.sub(r"(?m)^lengths = .*$", "semitones = [2, 1, 3]", text))
    assert own.lengths == exact().lengths
    assert own.semitones == load("c-trumpet").semitones


def test_a_third_slide_cut_long() -> None:
    """The third valve such that 2-3 is exact: third alone −16, 1-3 +15.5, 1-2-3 +39.4 (computed by hand)."""
    second, first = tube.valve_length(1), tube.valve_length(2)
    third = tube.valve_length(4) - second
    assert round(tube.combination_deviation([third], 3)) == -16
    assert round(tube.combination_deviation([second, third], 4), 6) == 0
    assert round(tube.combination_deviation([first, third], 5), 1) == 15.5
    assert round(tube.combination_deviation([first, second, third], 6), 1) == 39.4


@pytest.mark.parametrize(
    ("pitch", "valves", "cents"),
    [
        ("D4", "1-3", 18),
        ("C#4", "1-2-3", 41),
        ("E5", "0", -14),
        ("D5", "1", -14),
        ("A4", "1-2", 11),
        ("A4", "3", -16),
        ("E5", "1-2", 13),
    ],
)
def test_cents_of_fingered_notes(pitch: str, valves: str, cents: int) -> None:
    """Partial deviation plus valve deviation (computed by hand)."""
    found = candidates(Pitch.parse(pitch).semitone, load("c-trumpet"))
    assert cents in [round(item.cents) for item in found if item.valves == valves]


def test_fifth_partial_notes_are_the_flat_ones() -> None:
    """E5, E♭5, D5 flat (common practice, no source): 14 cents, the just third below the tempered one."""
    for pitch in ("E5", "Eb5", "D5"):
        usual = candidates(Pitch.parse(pitch).semitone, load("bb-trumpet"))[0]
        assert usual.partial == 5
        assert usual.cents < -13


def test_iso_16_and_tube_length() -> None:
    """ISO 16: A4 = 440 Hz. B♭2 = 116.54 Hz (equal temperament); a B♭ trumpet's 1.48 m is widely published."""
    assert tube.frequency(Pitch.parse("A4").semitone) == 440.0
    assert round(tube.frequency(Pitch.parse("Bb2").semitone), 2) == 116.54
    assert round(load("bb-trumpet").length, 2) == 1.48
    assert round(load("c-trumpet").length, 2) == 1.32
    assert isclose(load("bb-piccolo").length * 2, load("bb-trumpet").length)


def test_slide_pull() -> None:
    """On a C trumpet D4 wants about 16 mm of third slide and C♯4 about 30 mm with exact valves, 9 and 22 with
    the third cut long (computed by hand)."""
    long = load("c-trumpet")
    tubes = {item.name: long.length * (1 + item.length) for item in long.combinations}
    assert round(tube.slide_pull(tubes["1-3"], 17.5)) == 9
    assert round(tube.slide_pull(tubes["1-2-3"], 41.4)) == 22
    instrument = exact()
    lengths = {item.name: instrument.length * (1 + item.length) for item in instrument.combinations}
    assert round(tube.slide_pull(lengths["1-3"], 32.3)) == 16
    assert round(tube.slide_pull(lengths["1-2-3"], 55.6)) == 30
    for pull in (1.0, 16.0, 30.0):
        cents = tube.cents_lowered(lengths["1-3"], pull)
        assert isclose(tube.slide_pull(lengths["1-3"], cents), pull)
