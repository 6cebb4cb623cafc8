"""Places in the text are those of the elements, whatever stands round them."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from annotator.score.places import find_places, inside_note

PITCH = "<pitch><step>C</step><octave>4</octave></pitch><duration>1</duration>"


def score(*notes: str) -> str:
    return (
        '<?xml version="1.0"?><!-- <note> --><!DOCTYPE score-partwise [<!-- ]> <note> -->]>'
        '<score-partwise><part-list><score-part id="P1"><part-name>T</part-name></score-part></part-list>'
        f'<part id="P1"><measure number="1">{"".join(notes)}</measure></part></score-partwise>'
    )


def test_a_note_is_found_past_comments_cdata_and_instructions() -> None:
    text = score(
        "<!-- <note> --><?ours <note> ?>",
        f"<note>{PITCH}<lyric><text><![CDATA[</note><note>]]></text></lyric></note>",
        f'<note default-x="1>2">{PITCH}</note>',
        "<note/>",
    )
    places = find_places(text)
    assert [text[place.start : place.end][:5] for place in places.notes] == ["<note"] * 3
    assert [text[: place.end].endswith(("</note>", "<note/>")) for place in places.notes] == [True] * 3
    assert len(places.notes) == len(list(etree.fromstring(text).iter("note")))


def test_marks_go_inside_notations_that_are_there_and_before_lyrics() -> None:
    first = f"<note>{PITCH}<notations><slur type='start'/></notations><lyric><text>a</text></lyric></note>"
    second = f"<note>{PITCH}<notations/></note>"
    text = score(first, second)
    one, two = (text[note.opened : note.end] for note in find_places(text).notes)
    assert one[inside_note(one).notations :].startswith("</notations>")
    assert one[inside_note(one).after :].startswith("<lyric>")
    assert inside_note(two).notations == -1
    assert two[inside_note(two).after :].startswith("</note>")


def test_an_empty_notations_after_a_full_one_takes_nothing_and_is_not_overtaken() -> None:
    text = score(f"<note>{PITCH}<notations><tied type='stop'/></notations><notations/></note>")
    (note,) = (text[note.opened : note.end] for note in find_places(text).notes)
    assert inside_note(note).notations == -1
    assert note[inside_note(note).after :].startswith("</note>")


NOISE = st.sampled_from(
    [
        "",
        " ",
        "\r\n",
        "<!-- </note> -->",
        "<?x <note> ?>",
        "<direction/>",
        "<backup><duration>1</duration></backup>",
    ]
)
NOTES = st.sampled_from(
    [
        f"<note>{PITCH}</note>",
        "<note />",
        f"<note  id='a>b'>{PITCH}<notations><!-- </notations> --></notations></note>",
    ]
)


@given(st.lists(st.tuples(NOISE, NOTES, NOISE)))
def test_the_count_of_notes_is_the_parsers(pieces: list[tuple[str, str, str]]) -> None:
    text = score(*("".join(piece) for piece in pieces))
    places = find_places(text)
    root = etree.fromstring(text)
    assert len(places.notes) == len(list(root.iter("note")))
    container = places.containers[0]
    assert [child.tag for child in container.children] == [
        child.tag for child in root[1][0] if isinstance(child.tag, str)
    ]
