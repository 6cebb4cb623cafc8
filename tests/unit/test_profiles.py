"""Profiles: the ones that come along, a user's own, and errors that name the key."""

from __future__ import annotations

from pathlib import Path

import pytest

from annotator.errors import BadOption
from annotator.fingering import ReadNote, available_profiles, load_profile, plan, profile_from_toml, usual
from annotator.fingering.sentences import instead_words
from annotator.instruments import load
from annotator.pitch import Pitch
from annotator.score.model import Ornament


def line(names: str, seconds: float) -> list[ReadNote]:
    return [
        ReadNote(Pitch.parse(name), i * seconds, seconds, slurred=i > 0)
        for i, name in enumerate(names.split())
    ]


def test_the_profiles_that_come_along() -> None:
    assert set(available_profiles()) >= {"orchestral", "student"}
    with pytest.raises(BadOption, match="student") as caught:
        load_profile("soloist")
    assert caught.value.field == "profile"


def test_students_keep_to_the_chart_and_are_warned_early() -> None:
    notes = line("Ab4 A4 Ab4 A4 Bb4 Ab4 Bb4", 0.14)
    instrument = load("bb-trumpet")
    student, pro = plan(notes, instrument, "student"), plan(notes, instrument)
    assert [played.fingering for played in student] == [
        usual(note.pitch.semitone, instrument) for note in notes
    ]
    assert sum(p.crossing is not None for p in student) > sum(p.crossing is not None for p in pro)
    flag = student[1].crossing
    assert flag is not None
    assert instead_words(flag.instead) == "A4 with 3"
    assert flag.gain > 0


def test_a_student_learns_what_would_help_a_trill() -> None:
    note = ReadNote(Pitch.parse("G4"), 0, 2, ornaments=(Ornament("trill-mark"),))
    (played,) = plan([note], load("bb-trumpet"), "student")
    assert played.crossing is not None
    assert instead_words(played.crossing.instead) == "G4 with 1-3 and A4 with 3"


def test_a_users_own_weights(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text("[departure]\nthird-for-first-second = 0\n[grade]\nmild = 0.5\n")
    profile = profile_from_toml(file)
    assert profile.name == "mine"
    assert profile["departure.third-for-first-second"] == 0
    assert profile["exchange.first-third"] == load_profile("orchestral")["exchange.first-third"]
    assert profile_from_toml('base = "student"').chart_only


def test_asked_for_partials() -> None:
    profile = profile_from_toml("partials = [7]")
    (played,) = plan(line("Bb5", 1.0), load("c-trumpet"), profile)
    assert played.fingering is not None
    assert played.fingering.partial == 8
    assert 7 in [other.partial for other in played.alternates]


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("[exchange]\nfirst-thrid = 1", "exchange.first-thrid"),
        ("[exchange]\nfirst-third = 'much'", "exchange.first-third"),
        ("[exchange]\nfirst-third = -1", "exchange.first-third"),
        ("[grade]\nmild = 5", "grade"),
        ("chart-only = 1", "chart-only"),
        ("partials = [99]", "partials"),
        ("base = 'nobody'", "nobody"),
        ("urgency = [[1.0, 1.0], [0.1, 0.5]]", "urgency"),
        ("urgency = 3", "urgency"),
        ("colour = 3", "colour"),
        ("colour =", "TOML"),
    ],
)
def test_errors_name_the_wrong_key(text: str, key: str) -> None:
    with pytest.raises(BadOption, match=key.replace(".", r"\.")) as caught:
        profile_from_toml(text)
    assert caught.value.field == "profile"


def test_a_slip_is_met_with_the_nearest_keys() -> None:
    with pytest.raises(BadOption, match=r"did you mean exchange\.first-third"):
        profile_from_toml("[exchange]\nfirst-thrid = 1")


def test_a_missing_file_names_itself(tmp_path: Path) -> None:
    with pytest.raises(BadOption, match="gone"):
        profile_from_toml(tmp_path / "gone.toml")
