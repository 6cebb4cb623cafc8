"""Marks go in and come out again, over every way a file can be written."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lxml import etree

import annotator
from annotator.marking.splice import Insertion, splice
from annotator.registry.mark_rows import MARK_NAMES as MARKS
from annotator.registry.option_rows import OPTION
from annotator.score.ours import BEGIN, END, between_signs
from annotator.score.source import open_source
from tests.musicxml_schema import schema_errors
from tests.unit.parts import NoteText, part_xml

DEMO_FOLDER = Path(__file__).parents[2] / "demo_scores"
DEMO = sorted([*DEMO_FOLDER.glob("*.musicxml"), *DEMO_FOLDER.glob("*.mxl")])
INSTRUMENTS = ("c-trumpet", "bb-trumpet", "d-trumpet", "a-piccolo", "bb-flugelhorn")

TEXT = st.text(st.characters(codec="utf-8"), max_size=60).filter(lambda text: "<?crookline" not in text)


KINDS = st.sampled_from(MARKS)


@given(TEXT, st.lists(st.tuples(st.integers(0, 60), KINDS, TEXT), max_size=8), st.sets(KINDS, min_size=1))
def test_taking_marks_out_undoes_putting_them_in(
    text: str, found: list[tuple[int, str, str]], kinds: set[str]
) -> None:
    insertions = [Insertion(min(place, len(text)), kind, content) for place, kind, content in found]
    marked = splice(text, insertions)
    assert between_signs(marked) == text
    assert marked.count(BEGIN) == marked.count(END) == len(insertions)
    rest = [each for each in insertions if each.kind not in kinds]
    assert between_signs(marked, kinds) == splice(text, rest)


@given(st.lists(st.tuples(st.integers(0, 3), KINDS), max_size=12))
def test_what_goes_in_at_one_place_keeps_its_order(found: list[tuple[int, str]]) -> None:
    insertions = [Insertion(place, kind, f"[{number}]") for number, (place, kind) in enumerate(found)]
    marked = re.findall(r"\[\d+\]", splice("abc", insertions))
    for place in range(4):
        here = [each.content for each in insertions if each.place == place]
        assert [content for content in marked if content in here] == here


@pytest.mark.parametrize("path", DEMO, ids=lambda path: path.name)
@pytest.mark.parametrize("instrument", INSTRUMENTS)
def test_a_demo_part_is_its_marked_self_without_the_marks(path: Path, instrument: str) -> None:
    data = path.read_bytes()
    options = annotator.Options(instrument=instrument, mark=MARKS)
    marked = annotator.annotate(data, options, path.name)
    assert marked.data != data
    assert open_source(annotator.strip(marked.data)).xml == open_source(data).xml
    assert annotator.annotate(marked.data, options, path.name).data == marked.data
    assert not schema_errors(open_source(marked.data).xml)


NOTES = st.lists(
    st.builds(
        NoteText,
        step=st.sampled_from("CDEFGAB"),
        alter=st.sampled_from([-1, 0, 0, 0, 1]),
        octave=st.integers(3, 6),
        extra=st.sampled_from(
            [
                "",
                "<notations/>",
                "<notations><articulations><staccato/></articulations></notations>",
                "<notations><technical><fingering>2</fingering></technical></notations>",
                "<notations><slur type='start'/></notations><notations/>",
                "<lyric number='1'><text>la</text></lyric>",
            ]
        ),
        lead=st.sampled_from(["", "<!-- <note> -->", "<?other <note?>", "\r\n\t"]),
        chord=st.booleans(),
        grace=st.booleans(),
    ),
    min_size=1,
    max_size=12,
)


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(
    notes=NOTES,
    timewise=st.booleans(),
    encoding=st.sampled_from(["UTF-8", "UTF-16", "ISO-8859-1"]),
    transpose=st.sampled_from([(0, 0), (2, 4), (-1, -2), (3, 5)]),
    instrument=st.sampled_from(INSTRUMENTS),
    show=st.sampled_from(tuple(OPTION["show"].values)),
    marks=st.sets(st.sampled_from(MARKS)),
)
def test_any_part_survives(  # noqa: PLR0917
    notes: list[NoteText],
    timewise: bool,
    encoding: str,
    transpose: tuple[int, int],
    instrument: str,
    show: str,
    marks: set[str],
) -> None:
    data = part_xml(notes, timewise=timewise, encoding=encoding, transpose=transpose)
    assert not schema_errors(data)
    options = annotator.Options(instrument=instrument, mark=tuple(sorted(marks)), show=show)
    marked = annotator.annotate(data, options)
    assert annotator.strip(marked.data) == data
    assert annotator.annotate(marked.data, options).data == marked.data
    assert not schema_errors(marked.data)
    # Other options over an older run's marks give what they give on the original.
    plain = annotator.Options(instrument="c-trumpet")
    assert annotator.annotate(marked.data, plain).data == annotator.annotate(data, plain).data


def test_a_printed_fingering_stays_alone_and_is_compared() -> None:
    printed = "<notations><technical><fingering>1-3</fingering></technical></notations>"
    data = part_xml([NoteText("C", 0, 5, printed), NoteText("C", 0, 5)])
    marked = annotator.annotate(data, annotator.Options(mark=("fingering",)))
    root = etree.fromstring(marked.data)
    assert [element.text for element in root.iter("fingering")] == ["1-3", "0"]
    (warning,) = [each for each in marked.report["warnings"] if each["code"] == "printed-fingering"]
    assert warning["measure"] == "1"
    assert "1-3" in warning["message"]
    assert "0 here" in warning["message"]


def test_the_partial_line_takes_a_number_nobody_uses() -> None:
    data = part_xml([NoteText("C", 0, 5, "<lyric number='1'><text>Glo</text></lyric>")])
    marked = annotator.annotate(data, annotator.Options(mark=("partial",)))
    lyrics = [
        (lyric.get("number"), lyric.get("name")) for lyric in etree.fromstring(marked.data).iter("lyric")
    ]
    assert sorted(lyrics, key=str) == [("1", None), ("2", "partial")]


def test_chords_are_two_players() -> None:
    data = part_xml([NoteText("E", 0, 4), NoteText("C", 0, 5, chord=True), NoteText("G", 0, 4)])
    (part,) = annotator.annotate(data).report["parts"]
    lines = [[note["written"] for note in line["notes"]] for line in part["lines"]]
    assert lines == [["C5", "G4"], ["E4"]]


def printed_on(data: bytes) -> list[int]:
    """The numbers of the notes with a fingering."""
    notes = etree.fromstring(data).iter("note")
    return [number for number, note in enumerate(notes) if note.find(".//fingering") is not None]


def test_show_first_marks_each_pitch_where_it_first_comes() -> None:
    data = part_xml([NoteText(step, 0, 5) for step in "CDCECDE"])
    for kind in ("fingering", "partial"):
        root = etree.fromstring(annotator.annotate(data, annotator.Options(mark=(kind,), show="first")).data)
        has = [bool(note.findall(".//fingering") + note.findall("lyric")) for note in root.iter("note")]
        assert has == [True, True, False, True, False, False, False], kind


def test_show_awkward_marks_the_note_left_and_the_note_reached_of_each_crossing_and_no_other() -> None:
    path = next(DEMO_FOLDER.glob("06_*"))
    marked = annotator.annotate(path.read_bytes(), annotator.Options(mark=("fingering",), show="awkward"))
    wanted = set()
    (part,) = marked.report["parts"]
    for line in part["lines"]:
        places = [note["place"] for note in line["notes"]]
        for left, note in zip([None, *places], line["notes"], strict=False):
            if note["crossing"] is not None:
                wanted |= {left, note["place"]}
    shown = set(printed_on(marked.data))
    assert shown == wanted - {None}
    assert 0 < len(shown) < marked.report["summary"]["notes"] / 2


def test_the_report_says_what_is_read_where() -> None:
    data = part_xml([NoteText("C", 0, 5)] * 4, transpose=(2, 4), name="Tromba in E")
    report = annotator.annotate(data, name="one.musicxml").report
    assert report["schema"] == "crookline.report/1"
    assert report["source"]["name"] == "one.musicxml"
    (part,) = report["parts"]
    (segment,) = part["segments"]
    assert segment["crook"] == "E"
    assert segment["read"] == {"diatonic": 2, "chromatic": 4, "words": "up a major third"}
    note = part["lines"][0]["notes"][1]
    assert (note["measure"], note["beat"], note["written"], note["sounding"], note["reading"]) == (
        "1",
        2.0,
        "C5",
        "E5",
        "E5",
    )
    assert (note["fingering"], note["partial"], note["natural_partial"]) == ("0", 5, 8)


@pytest.mark.parametrize("name", ["MusicXML Part", "", "Part 1", "Solo"])
def test_a_lone_part_that_does_not_say_what_it_is_is_read_and_said(name: str) -> None:
    report = annotator.annotate(part_xml([NoteText("C", 0, 5)], name=name)).report
    assert "not-named-trumpet" in [each["code"] for each in report["warnings"]]


@pytest.mark.parametrize("name", ["Violin I", "Corno in F", "Posaune 1", "Clarinetto in Sib"])
def test_a_part_for_something_else_is_refused_by_name(name: str) -> None:
    with pytest.raises(annotator.NoTrumpetPart, match=name):
        annotator.annotate(part_xml([NoteText("C", 0, 5)], name=name))


def test_a_part_that_is_not_there_is_asked_for_in_vain() -> None:
    with pytest.raises(annotator.NoTrumpetPart, match=r"no part 'Tuba'; the file has P1 \(Trumpet\)"):
        annotator.annotate(part_xml([NoteText("C", 0, 5)]), annotator.Options(part=("Tuba",)))


def test_the_second_best_plan_of_a_phrase_is_reported_when_asked_for() -> None:
    data = part_xml([NoteText("A", 0, 4), NoteText("G", 0, 4), NoteText("A", 0, 4), NoteText("G", 0, 4)])
    assert "second_best" not in annotator.annotate(data).report["parts"][0]["lines"][0]
    report = annotator.annotate(data, annotator.Options(second_best=True)).report
    (phrase,) = report["parts"][0]["lines"][0]["second_best"]
    assert phrase["second_cost"] >= phrase["cost"]
    assert phrase["changes"]
    assert all(change["instead"]["fingering"] != change["fingering"] for change in phrase["changes"])


@pytest.mark.parametrize(
    ("taken", "given"),
    [
        ((), "P1-cue"),
        (("P1-cue",), "P1-cue-2"),
        (("P1-cue", "P1-cue-2", "P1-cue-4"), "P1-cue-3"),
        (("P1-cue-I1",), "P1-cue-2"),
        (("P1-cue-2",), "P1-cue"),
        (("XP1-cue", "P1-cuez"), "P1-cue"),
    ],
)
def test_the_cue_part_gets_an_id_that_nothing_has(taken: tuple[str, ...], given: str) -> None:
    words = "".join(f'<words id="{each}">.</words>' for each in taken)
    direction = f"<direction><direction-type>{words}</direction-type></direction>"
    notes = [NoteText("C", 0, 5, lead=direction if taken else "")]
    part = part_xml(notes, transpose=(2, 4), name="Tromba in E")
    assert f'<part id="{given}">'.encode() in annotator.annotate(part).data
