"""The cue line: small, silent, right under its part, with the notes as read."""

from __future__ import annotations

from lxml import etree

import annotator
from tests.unit.parts import NoteText, part_xml


def cue_of(data: bytes, **options: str) -> etree._Element:
    marked = annotator.annotate(data, annotator.Options(mark=("cue",), **options))  # type: ignore[arg-type]
    root = etree.fromstring(marked.data)
    parts = root.findall("part")
    assert [part.get("id") for part in parts] == ["P1", "P1-cue"]
    return parts[1]


def test_it_is_small_silent_and_says_what_it_is() -> None:
    data = part_xml([NoteText("C", 0, 5)], transpose=(2, 4), name="Tromba in E")
    root = etree.fromstring(annotator.annotate(data, annotator.Options(mark=("cue",))).data)
    header = root.find("part-list/score-part[@id='P1-cue']")
    assert header is not None
    assert header.findtext("part-name") == "Tromba in E – as read on Trumpet in C"
    assert header.findtext("midi-instrument/volume") == "0"
    part = root.find("part[@id='P1-cue']")
    assert part is not None
    assert part.findtext("measure/attributes/staff-details/staff-type") == "cue"
    assert all(note.find("cue") is not None for note in part.iter("note"))
    assert {note.get("dynamics") for note in part.iter("note")} == {"0"}


def test_there_is_none_where_reading_is_writing() -> None:
    data = part_xml([NoteText("C", 0, 5)], name="Tromba in C")
    assert len(etree.fromstring(annotator.annotate(data).data).findall("part")) == 1


PITCH = "<pitch><step>D</step><octave>5</octave></pitch>"
OTHERS = f"<note><cue/>{PITCH}<duration>1</duration><voice>1</voice></note>"


def test_a_note_that_was_a_cue_already_is_silence() -> None:
    data = part_xml([NoteText("C", 0, 5, lead=OTHERS)], transpose=(2, 4), name="Tromba in E")
    (measure,) = cue_of(data).findall("measure")
    assert [child.tag for child in measure] == ["attributes", "forward", "note"]
    assert measure.findtext("note/pitch/step") == "E"


def test_a_bar_of_cue_notes_is_a_bar_of_rest_in_the_cue_line() -> None:
    """Others' notes in one voice over the player's rest in another, as orchestral parts print them."""
    rest = '<note><rest measure="yes"/><duration>4</duration><voice>2</voice></note>'
    back = "<backup><duration>4</duration></backup>"
    attributes = (
        "<attributes><divisions>1</divisions><transpose><chromatic>4</chromatic></transpose></attributes>"
    )
    note = f"<note>{PITCH}<duration>4</duration><voice>1</voice></note>"
    data = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Tromba in E</part-name>'
        f'</score-part></part-list><part id="P1"><measure number="1">{attributes}{OTHERS * 4}{back}{rest}'
        f'</measure><measure number="2">{note}</measure></part></score-partwise>'
    )
    first, second = cue_of(data.encode()).findall("measure")
    assert [child.tag for child in first] == ["attributes", "note"]
    assert first.find("note/rest[@measure='yes']") is not None
    assert first.findtext("note/duration") == "4"
    assert second.findtext("note/pitch/step") == "F"


def test_microtones_move_with_their_neighbours_and_get_no_marks() -> None:
    quarter = (
        "<note><pitch><step>C</step><alter>0.5</alter><octave>5</octave></pitch><duration>1</duration></note>"
    )
    data = part_xml([NoteText("C", 0, 5, lead=quarter)], transpose=(2, 3), name="Tromba in Mi♭")
    pitches = [(p.findtext("step"), p.findtext("alter")) for p in cue_of(data).iter("pitch")]
    assert pitches == [("E", "-0.5"), ("E", "-1")]
    report = annotator.annotate(data).report
    assert [each["code"] for each in report["warnings"]] == ["unplayable-pitch"]
    assert report["summary"]["notes"] == 1


def test_its_id_is_nobody_elses() -> None:
    data = part_xml([NoteText("C", 0, 5)], transpose=(2, 4), name="Tromba in E")
    taken = data.replace(b"<work>", b"").replace(b'<measure number="1">', b'<measure number="1" id="P1-cue">')
    root = etree.fromstring(annotator.annotate(taken, annotator.Options(mark=("cue",))).data)
    assert [part.get("id") for part in root.findall("part")] == ["P1", "P1-cue-2"]


def test_inferred_crooks_show_how_an_old_part_would_have_been_written() -> None:
    """A D major fanfare at sounding pitch, natural on a D crook (7 distinct partials, none of C's)."""
    series = [
        ("D", 0, 4),
        ("F", 1, 4),
        ("A", 0, 4),
        ("D", 0, 5),
        ("E", 0, 5),
        ("F", 1, 5),
        ("G", 0, 5),
        ("A", 0, 5),
    ]
    data = part_xml([NoteText(*note) for note in series * 4], name="Trumpet 1", fifths=2)
    part = cue_of(data, crook="infer")
    steps = [pitch.findtext("step") for pitch in part.iter("pitch")][:8]
    assert steps == ["C", "E", "G", "C", "D", "E", "F", "G"]


def test_slides_and_cents_are_a_lyric_line_of_their_own() -> None:
    data = part_xml([NoteText("D", 0, 4)] * 4)
    root = etree.fromstring(annotator.annotate(data, annotator.Options(mark=("intonation",))).data)
    lyrics = [(lyric.get("name"), lyric.findtext("text")) for lyric in root.iter("lyric")]
    # D4 as 1-3 on partial 3 wants about 9 mm of third slide on a C trumpet [computed]; it stays there.
    assert lyrics == [("intonation", "3rd 9")]
