"""Players of one staff, and staves of one part, in different crooks. Common practice, no source, save where
MusicXML is named."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

import annotator
from annotator import Options
from annotator.transposed import transposed_part
from tests.musicxml_schema import schema_errors
from tests.unit.test_players import BACK, note, rest, score


def words(text: str) -> str:
    return f"<direction><direction-type><words>{text}</words></direction-type></direction>"


def both(upper: str, lower: str) -> str:
    return upper + BACK + lower


def readings(report: dict[str, Any]) -> list[str]:
    (part,) = report["parts"]
    return [" ".join(note["reading"] for note in line["notes"]) for line in part["lines"]]


def stages(report: dict[str, Any]) -> list[tuple[tuple[int, ...], str, str]]:
    (part,) = report["parts"]
    return [(tuple(each.get("lines", ())), each["from_measure"], each["crook"]) for each in part["segments"]]


def codes(report: dict[str, Any]) -> list[str]:
    return [each["code"] for each in report["warnings"]]


SILENT = both(rest(4), rest(4, voice=2))


@pytest.mark.parametrize("text", ["I. muta in E", "1. muta in E", "1ª muta in Mi", "Tromba I muta in E"])
def test_one_player_changes(text: str) -> None:
    data = score(
        both(note("C5", 4), note("G4", 4, voice=2)),
        both(words(text) + rest(4), rest(4, voice=2)),
        SILENT,
        both(note("C5", 4), note("G4", 4, voice=2)),
        name="Trombe I-II in F",
    )
    found = annotator.annotate(data).report
    assert readings(found) == ["F5 E5", "C5 C5"]
    assert stages(found) == [((1,), "1", "F"), ((1,), "2", "E"), ((2,), "1", "F")]


def test_the_one_who_changes_waits_for_his_own_rest_only() -> None:
    """The first rests where the second plays on: no rest is common to the two."""
    data = score(
        both(note("C5", 4), note("G4", 4, voice=2)),
        both(words("I. muta in E") + note("C5", 4), note("G4", 4, voice=2)),
        *[both(rest(4), note("G4", 4, voice=2))] * 3,
        both(note("C5", 4), rest(4, voice=2)),
        both(note("C5", 4), note("G4", 4, voice=2)),
        name="Trombe I-II in F",
    )
    found = annotator.annotate(data).report
    assert readings(found)[0] == "F5 F5 E5 E5"
    assert set(readings(found)[1].split()) == {"C5"}


def test_a_change_for_both_is_one_change() -> None:
    data = score(
        both(note("C5", 4), note("G4", 4, voice=2)),
        both(words("muta in E") + rest(4), rest(4, voice=2)),
        SILENT,
        both(note("C5", 4), note("G4", 4, voice=2)),
        name="Trombe I-II in F",
    )
    found = annotator.annotate(data).report
    assert stages(found) == [((), "1", "F"), ((), "2", "E")]
    assert readings(found) == ["F5 E5", "C5 B4"]


def test_two_crooks_in_the_heading() -> None:
    data = score(
        both(note("C5", 4), note("G4", 4, voice=2)),
        both(words("1. in D, 2. in E") + note("C5", 4), note("G4", 4, voice=2)),
        name="Trombe I-II in F",
    )
    assert readings(annotator.annotate(data).report) == ["F5 D5", "C5 B4"]


def test_a_note_for_both_in_two_crooks_is_said() -> None:
    data = score(
        both(note("C5", 4), note("G4", 4, voice=2)),
        both(words("II. muta in E") + rest(4), rest(4, voice=2)),
        SILENT,
        words("a 2") + note("C5", 4),
        name="Trombe I-II in F",
    )
    found = annotator.annotate(data).report
    assert readings(found) == ["F5 F5", "C5 E5"]
    assert "shared-note-two-crooks" in codes(found)
    root = etree.fromstring(transposed_part(data, Options(mark=())))
    assert [f"{each.findtext('step')}{each.findtext('octave')}" for each in root.iter("pitch")][-1] == "F5"


def test_a_change_for_another_player_is_said_and_not_made() -> None:
    data = score(note("C5", 4), words("2. muta in E") + rest(4), rest(4), note("C5", 4), name="Tromba 1 in F")
    found = annotator.annotate(data).report
    assert readings(found) == ["F5 F5"]
    (finding,) = (each for each in found["warnings"] if each["code"] == "change-for-nobody")
    assert (finding["measure"], "player 2" in finding["message"]) == ("2", True)


def test_the_printed_line_has_each_player_in_his_crook() -> None:
    data = score(
        both(note("C5", 4), note("G4", 4, voice=2)),
        both(words("I. muta in E") + rest(4), rest(4, voice=2)),
        SILENT,
        both(note("C5", 2) + note("C5", 2).replace("<voice>", "<tie type='stop'/><voice>"),
             note("G4", 4, voice=2)),
        name="Trombe I-II in F",
    )  # fmt: skip
    marked = annotator.annotate(data, Options(mark=("cue",))).data
    whole = transposed_part(data, Options(mark=()))
    for root in (etree.fromstring(marked).findall("part")[-1], etree.fromstring(whole).find("part")):
        assert root is not None
        pitches = [f"{each.findtext('step')}{each.findtext('octave')}" for each in root.iter("pitch")]
        assert pitches == ["F5", "C5", "E5", "E5", "C5"]
    assert etree.fromstring(whole).findtext(".//part-name") == "Trumpet I-II in C"


def two_staves(first: tuple[int, int], second: tuple[int, int], *, keys: str = "") -> bytes:
    """A part on two staves with a ``<transpose>`` for each (MusicXML 4.0: attribute ``number``)."""
    moves = "".join(
        f'<transpose number="{number}"><diatonic>{steps}</diatonic>'
        f"<chromatic>{semitones}</chromatic></transpose>"
        for number, (steps, semitones) in enumerate((first, second), start=1)
    )
    head = f"<attributes><divisions>1</divisions>{keys}<staves>2</staves>{moves}</attributes>"
    lower = note("C5", 4, voice=2).replace("</note>", "<staff>2</staff></note>")
    upper = note("C5", 4).replace("</note>", "<staff>1</staff></note>")
    return (
        '<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1">'
        '<part-name>Trumpets</part-name></score-part></part-list><part id="P1"><measure number="1">'
        f"{head}{upper}{BACK}{lower}</measure></part></score-partwise>"
    ).encode()


C5_ON = {(3, 5): "F5", (2, 4): "E5", (-1, -2): "Bb4", (0, 0): "C5", (1, 2): "D5", (-2, -3): "A4"}
moves = st.sampled_from(sorted(C5_ON))


@settings(max_examples=15, deadline=None)
@given(moves, moves)
def test_each_staff_has_its_transposition(first: tuple[int, int], second: tuple[int, int]) -> None:
    report = annotator.annotate(two_staves(first, second)).report
    sounding = [line["notes"][0]["sounding"] for line in report["parts"][0]["lines"]]
    assert sounding == [C5_ON[first], C5_ON[second]]


def test_each_staff_has_its_key_signature() -> None:
    keys = '<key number="1"><fifths>2</fifths></key><key number="2"><fifths>-1</fifths></key>'
    data = two_staves((-1, -2), (1, 2), keys=keys)
    for made in (
        transposed_part(data, Options(mark=())),
        annotator.annotate(data, Options(mark=("cue",))).data,
    ):
        assert schema_errors(made) == []
        root = etree.fromstring(made).findall("part")[-1]
        found = {key.get("number"): key.findtext("fifths") for key in root.iter("key")}
        assert found == {"1": "0", "2": "1"}


def test_a_chord_in_one_players_part_changes_with_him() -> None:
    data = score(
        note("C5", 4) + note("G4", 4, chord=True),
        words("muta in E") + note("C5", 4),
        note("C5", 4) + note("G4", 4, chord=True),
        *[rest(4)] * 3,
        note("C5", 4) + note("G4", 4, chord=True),
        name="Tromba I in F",
    )
    found = annotator.annotate(data).report
    assert readings(found) == ["F5 F5 F5 E5", "C5 C5 B4"]
    assert stages(found) == [((), "1", "F"), ((), "4", "E")]
