"""Trumpets as data: what comes with the program, and what a wrong file is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from annotator.errors import BadInstrument, BadOption
from annotator.instruments import available, from_toml, load, natural_partial
from annotator.pitch import Interval, Pitch

OWN = """
name = "Trumpet in E"
key = "E"
[transposition]
diatonic = 2
chromatic = 4
[valves]
lengths = [0.122462, 0.059463, 0.2]
[partials]
usable = [2, 3, 4, 5, 6, 8, 9, 10, 12]
[range]
low = "F#3"
high = "C6"
"""


def test_the_trumpets_that_come_along() -> None:
    assert available()[:2] == ("c-trumpet", "bb-trumpet")
    assert len(set(available())) == len(available()) >= 10
    for name in available():
        assert load(name).id == name
        assert load(name) is load(name)


def test_an_unknown_name_lists_the_known_ones() -> None:
    with pytest.raises(BadOption, match="bb-flugelhorn") as caught:
        load("h-trumpet")
    assert caught.value.field == "instrument"


def test_a_users_own(tmp_path: Path) -> None:
    file = tmp_path / "e-trumpet.toml"
    file.write_text(OWN)
    instrument = from_toml(file)
    assert instrument.id == "e-trumpet"
    assert instrument.transposition == Interval(2, 4)
    assert instrument.semitones == (2, 1, 3)
    assert instrument.barred == ()
    assert from_toml(OWN).name == "Trumpet in E"


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ('name = "Trumpet in E"', "", "name"),
        ("diatonic = 2", "diatonic = 2.5", "transposition.diatonic"),
        ("lengths = [0.122462, 0.059463, 0.2]", "semitones = [2, 1, 3]\nlengths = [0.1]", "valves"),
        ("lengths = [0.122462, 0.059463, 0.2]", "semitones = [2, true]", "valves.semitones"),
        ("lengths = [0.122462, 0.059463, 0.2]", "lengths = [12]", "valves.lengths"),
        ("usable = [2", "usable = [0, 2", "partials.usable"),
        ("usable =", "useable =", "partials.useable"),
        ('low = "F#3"', 'low = "fis"', "range.low"),
        ('low = "F#3"', 'low = "G6"', "range.low"),
        ("[range]", "[slides]\nfirst = -1\n[range]", "slides.first"),
        ("[range]", "[colour]\n[range]", "colour"),
        ("0.2]", '0.2]\npreferred = ["4"]', "valves.preferred"),
        ("0.2]", '0.2]\npreferred = ["2-1"]', "valves.preferred"),
        ("[range]", "[range", "TOML"),
    ],
)
def test_errors_name_the_key(old: str, new: str, key: str) -> None:
    with pytest.raises(BadInstrument, match=key.replace(".", r"\.")):
        from_toml(OWN.replace(old, new))


def test_a_missing_file_is_a_bad_instrument(tmp_path: Path) -> None:
    with pytest.raises(BadInstrument, match="gone"):
        from_toml(tmp_path / "gone.toml")


def test_natural_partials_of_the_written_scale() -> None:
    """7 as B♭, 11 as F or F♯, 13 as A (common practice, no source)."""
    series = ["C3", "G3", "C4", "E4", "G4", "Bb4", "C5", "D5", "E5", "F5", "G5", "A5", "Bb5", "B5", "C6"]
    assert [natural_partial(Pitch.parse(name)) for name in series] == list(range(2, 17))
    assert natural_partial(Pitch.parse("F#5")) == 11
    assert natural_partial(Pitch.parse("A#4")) == 7
    for name in ("D4", "F4", "A4", "B4", "Eb5", "G#5", "C#6", "C2"):
        assert natural_partial(Pitch.parse(name)) is None
