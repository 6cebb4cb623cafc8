"""Whose copy it is and how its marks look: options over one and the same part."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lxml import etree

import annotator
from annotator.registry.mark_rows import MARK_NAMES, MARKS, Element
from annotator.score.partwise import as_partwise
from tests.musicxml_schema import schema_errors
from tests.unit.parts import NoteText, part_xml
from tests.unit.test_annotation import NOTES
from tests.unit.tunes import demo

STYLED = [mark.name for mark in MARKS if mark.element is not Element.PART]


def marked(number: str, **options: object) -> bytes:
    return annotator.annotate(demo(number).read_bytes(), annotator.Options(**options)).data  # type: ignore[arg-type]


def test_three_copies_of_one_part() -> None:
    data = demo("06").read_bytes()
    assert marked("06", copy="conductor") == data
    assert marked("06", copy="player") == marked("06", mark=MARK_NAMES)
    student = marked("06", copy="student")
    assert student == marked("06", mark=("fingering", "crossing"), show="awkward", profile="student")
    # What is asked for besides stands.
    own = annotator.Options(copy="student", show="first")
    assert (own.show, own.mark, own.profile) == ("first", ("fingering", "crossing"), "student")


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None, max_examples=40)
@given(
    notes=NOTES,
    kind=st.sampled_from(STYLED),
    colour=st.sampled_from(["", "colour=#B00000", "colour=#00ff7f"]),
    size=st.sampled_from(["", "size=6", "size=9.5"]),
    place=st.sampled_from(["", "place=above", "place=below"]),
)
def test_a_style_changes_how_a_mark_looks_and_nothing_else(
    notes: list[NoteText], kind: str, colour: str, size: str, place: str
) -> None:
    data = part_xml(notes)
    style = tuple(f"{kind}.{word}" for word in (colour, size, place) if word)
    options = annotator.Options(mark=MARK_NAMES, style=style)
    found = annotator.annotate(data, options)
    assert annotator.strip(found.data) == data
    assert annotator.annotate(found.data, options).data == found.data
    assert not schema_errors(found.data)
    plain = annotator.annotate(data, annotator.Options(mark=MARK_NAMES))
    texts = [[element.text for element in etree.fromstring(each.data).iter()] for each in (found, plain)]
    assert texts[0] == texts[1]


def test_styles_are_on_the_page() -> None:
    style = ("fingering.place=below", "fingering.size=9", "partial.colour=#B00000", "crossing.place=below")
    root = etree.fromstring(marked("06", style=style))
    fingerings = list(root.iter("fingering"))
    assert {(each.get("placement"), each.get("font-size")) for each in fingerings} == {("below", "9")}
    # The last three bits of a lyric's colour say that it is ours.
    colours = {lyric.get("color") for lyric in root.iter("lyric")}
    assert {tuple(int(colour[at : at + 2], 16) & ~7 for at in (1, 3, 5)) for colour in colours if colour} == {
        (0xB0, 0, 0)
    }
    flags = [each for each in root.iter("direction") if (each.findtext(".//words") or "").startswith("!")]
    assert {each.get("placement") for each in flags} == {"below"}


@pytest.mark.parametrize(
    ("style", "said"),
    [
        ("red", "no style"),
        ("cue.size=5", "cue has no style"),
        ("hat.size=5", "hat has no style"),
        ("partial.weight=5", "choose from colour, size, place"),
        ("partial.colour=red", "#rrggbb"),
        ("partial.size=2", "4 to 36 points"),
        ("partial.size=big", "4 to 36 points"),
        ("partial.place=left", "above or below"),
    ],
)
def test_a_style_that_is_none_is_refused(style: str, said: str) -> None:
    with pytest.raises(annotator.BadOption, match=said) as caught:
        annotator.Options(style=(style,))
    assert caught.value.field == "style"


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None, max_examples=40)
@given(notes=NOTES)
def test_timewise_and_partwise_hold_the_same(notes: list[NoteText]) -> None:
    timewise, partwise = part_xml(notes, timewise=True), part_xml(notes)
    turned = as_partwise(timewise.decode())
    assert not schema_errors(turned.encode())
    assert notes_of(turned.encode()) == notes_of(partwise)
    options = annotator.Options(partwise=True)
    given_back = annotator.annotate(timewise, options).data
    assert etree.fromstring(given_back).tag == "score-partwise"
    assert annotator.strip(given_back) == turned.encode()
    assert annotator.annotate(timewise).data != given_back


def notes_of(data: bytes) -> list[list[bytes]]:
    parts = etree.fromstring(data).findall("part")
    return [[etree.tostring(note, with_tail=False) for note in part.iter("note")] for part in parts]


def test_a_timewise_score_of_several_parts_is_turned_round() -> None:
    def part(number: str, step: str) -> str:
        pitch = f"<pitch><step>{step}</step><octave>5</octave></pitch>"
        return f"<part id='{number}'><note>{pitch}<duration>4</duration></note></part>"

    measures = "".join(
        f"<measure number='{number}' width='100'>{part('P1', 'CDE'[number])}"
        f"<!-- <measure> -->{part('P2', 'FGA'[number])}</measure>"
        for number in range(3)
    )
    data = (
        '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-timewise PUBLIC '
        '"-//Recordare//DTD MusicXML 3.1 Timewise//EN" "http://www.musicxml.org/dtds/timewise.dtd">\n'
        '<score-timewise version="3.1"><part-list>'
        "<score-part id='P1'><part-name>Tromba 1</part-name></score-part>"
        "<score-part id='P2'><part-name>Tromba 2</part-name></score-part></part-list>"
        f"{measures}</score-timewise>\n"
    )
    turned = as_partwise(data)
    root = etree.fromstring(turned.encode())
    assert [part.get("id") for part in root.findall("part")] == ["P1", "P2"]
    steps = [[step.text for step in part.iter("step")] for part in root.findall("part")]
    assert steps == [["C", "D", "E"], ["F", "G", "A"]]
    assert [measure.get("number") for measure in root.findall("part/measure")] == ["0", "1", "2"] * 2
    assert "partwise.dtd" in turned
    assert "timewise" not in turned.lower()
