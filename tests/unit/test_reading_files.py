"""From a MusicXML file to what is read: the whole way, on files as programs write them."""

from __future__ import annotations

from typing import Any

import annotator
from annotator import Options

HEAD = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0">{defaults}<part-list><score-part id="P1"><part-name>{name}</part-name>
</score-part></part-list><part id="P1">"""
TRANSPOSE = "<transpose><diatonic>{}</diatonic><chromatic>{}</chromatic>{}</transpose>"
REST = "<note><rest measure='yes'/><duration>4</duration></note>"


def words(text: str) -> str:
    return f"<direction><direction-type><words>{text}</words></direction-type></direction>"


def note(step: str, octave: int, duration: int = 4, first: str = "") -> str:
    pitch = f"<pitch><step>{step}</step><octave>{octave}</octave></pitch>"
    return f"<note>{first}{pitch}<duration>{duration}</duration></note>"


def score(*measures: str, name: str, defaults: str = "", attributes: str = "") -> bytes:
    first = (
        "<attributes><divisions>1</divisions><key><fifths>0</fifths></key><time><beats>4</beats>"
        f"<beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef>{attributes}</attributes>"
    )
    body = "".join(
        f'<measure number="{number}">{first if number == 1 else ""}{content}</measure>'
        for number, content in enumerate(measures, 1)
    )
    return (HEAD.format(name=name, defaults=defaults) + body + "</part></score-partwise>").encode()


def report(data: bytes, **options: Any) -> dict[str, Any]:
    return annotator.annotate(data, Options(**options), "part.musicxml").report


def segments(found: dict[str, Any]) -> list[tuple[str, str, str, str]]:
    (part,) = found["parts"]
    return [
        (each["from_measure"], each["to_measure"], each["crook"], each["read"]["words"])
        for each in part["segments"]
    ]


def notes(found: dict[str, Any]) -> list[tuple[str, str, str]]:
    (part,) = found["parts"]
    return [(each["written"], each["sounding"], each["reading"]) for each in part["lines"][0]["notes"]]


def codes(found: dict[str, Any]) -> list[str]:
    return [each["code"] for each in found["warnings"]]


def test_change_announced_in_rests_with_transpose() -> None:
    data = score(
        note("C", 5),
        REST,
        words("muta in Do") + REST,
        f"<attributes>{TRANSPOSE.format(0, 0, '')}</attributes>" + note("G", 4),
        name="Tromba in Mi",
        attributes=TRANSPOSE.format(2, 4, ""),
    )
    found = report(data)
    assert segments(found) == [("1", "3", "E", "up a major third"), ("4", "4", "C", "as written")]
    assert notes(found) == [("C5", "E5", "E5"), ("G4", "G4", "G4")]
    assert "'muta in Do' in measure 3" in found["parts"][0]["segments"][1]["evidence"]


def test_octave_change_of_the_transpose_counts() -> None:
    data = score(
        note("C", 5),
        name="Trumpet in E♭",
        attributes=TRANSPOSE.format(2, 3, "<octave-change>-1</octave-change>"),
    )
    assert notes(report(data)) == [("C5", "Eb4", "Eb4")]


def test_concert_score() -> None:
    data = score(
        note("C", 5), note("F", 4), name="Trumpet in B♭", defaults="<defaults><concert-score/></defaults>"
    )
    found = report(data)
    assert notes(found) == [("C5", "C5", "C5"), ("F4", "F4", "F4")]
    assert "concert-pitch" in codes(found)
    transposed = "<part-transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></part-transpose>"
    for_part = f"<for-part>{transposed}</for-part>"
    data = score(
        note("C", 5), name="Trumpet", defaults="<defaults><concert-score/></defaults>", attributes=for_part
    )
    assert notes(report(data)) == [("C5", "C5", "C5")]


def test_crook_option_with_measures() -> None:
    data = score(
        note("C", 5), note("C", 5), note("C", 5), name="Tromba in F", attributes=TRANSPOSE.format(3, 5, "")
    )
    found = report(data, crook="F@1-2,D@3-")
    assert segments(found) == [("1", "2", "F", "up a fourth"), ("3", "3", "D", "up a tone")]
    assert codes(found) == ["crook-overridden"]


def test_movements_on_the_b_flat_trumpet() -> None:
    data = score(
        words("I. Allegro. Trombe in F") + note("C", 5),
        words("II. Largo. Trombe in E♭") + note("C", 5),
        name="Trombe",
    )
    found = report(data, instrument="bb-trumpet")
    assert segments(found) == [("1", "1", "F", "up a fifth"), ("2", "2", "Eb", "up a fourth")]
    assert [reading for _, _, reading in notes(found)] == ["G5", "F5"]


def test_inference_is_in_the_report() -> None:
    tune = [
        note(step, octave, 1) for step, octave in (("D", 4), ("A", 4), ("D", 5), ("E", 5), ("G", 5), ("A", 5))
    ]
    sharps = (
        "<note><pitch><step>F</step><alter>1</alter><octave>{}</octave></pitch><duration>1</duration></note>"
    )
    measure = "".join([*tune[:3], sharps.format(4)]), "".join([*tune[3:], sharps.format(5)])
    found = report(score(*measure, *measure, name="Tromba"))
    told = found["parts"][0]["inference"]
    assert told["crook"] == "D"
    assert told["score"] == 1
    assert told["runner_up_score"] < 1
    assert told["not_natural"] == []
    partials = [each["natural_partial"] for each in found["parts"][0]["lines"][0]["notes"]]
    assert partials == [4, 6, 8, 5, 9, 11, 12, 10] * 2
    assert {reading == written for written, _, reading in notes(found)} == {True}


def test_german_b_with_transpose_for_b_natural() -> None:
    data = score(note("C", 5), name="Trompete in B", attributes=TRANSPOSE.format(-1, -1, ""))
    found = report(data)
    assert notes(found) == [("C5", "B4", "B4")]
    assert codes(found) == []


def test_names_over_cue_notes_change_nothing() -> None:
    data = score(
        note("C", 5),
        words("Tpt. 1 in C") + note("G", 5, first="<cue/>"),
        note("C", 5),
        name="Tromba 2 in F",
        attributes=TRANSPOSE.format(3, 5, ""),
    )
    assert segments(report(data)) == [("1", "3", "F", "up a fourth")]


def test_a_change_of_the_playback_instrument_is_compared_and_decides_nothing() -> None:
    """MusicXML 4.0: an instrument-change is "a change to the virtual instrument sound"."""
    change = (
        '<sound><instrument-change id="P1-I1"><instrument-sound>brass.trumpet.bflat</instrument-sound>'
        "</instrument-change></sound>"
    )
    data = score(
        note("C", 5), change + note("C", 5), name="Tromba in F", attributes=TRANSPOSE.format(3, 5, "")
    )
    found = report(data)
    assert segments(found) == [("1", "2", "F", "up a fourth")]
    assert [(each["code"], each["measure"]) for each in found["warnings"]] == [("sound-disagrees", "2")]
