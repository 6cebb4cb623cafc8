"""What is read of notes, beats and tempos: each a fact that a small slip in the reader would change."""

from __future__ import annotations

import io
import zipfile

import pytest

import annotator
from annotator.concert.course import unfold
from annotator.score.model import Note, Part, Tempo
from annotator.score.mxl import CONTAINER
from annotator.score.reader import open_text, read
from annotator.score.signs import signs
from annotator.score.source import open_source
from annotator.timing import Clock
from tests.unit.parts import NoteText, part_xml

G = NoteText("G", 0, 4)
START, STOP = '<notations><slur type="start"/></notations>', '<notations><slur type="stop"/></notations>'
REST = "<note><rest/><duration>1</duration><voice>1</voice><type>quarter</type></note>"


def tied(kind: str, **more: object) -> NoteText:
    """A G with a tie that starts or stops (or both: "stop start")."""
    ties = "".join(f'<tied type="{each}"/>' for each in kind.split())
    return NoteText("G", 0, 4, extra=f"<notations>{ties}</notations>", **more)  # type: ignore[arg-type]


def part_of(xml: bytes) -> Part:
    return read(open_text(xml.decode())).parts[0]


def notes_of(xml: bytes) -> tuple[Note, ...]:
    return part_of(xml).lines[0].notes


def test_what_is_tied_on_is_added_and_struck_once_over_a_barline_too() -> None:
    notes = notes_of(part_xml([G, tied("start"), tied("stop start"), tied("stop"), G], per_measure=3))
    assert [(note.onset, note.duration) for note in notes] == [(0, 1), (1, 3), (4, 1)]
    assert [note.measure for note in notes] == [0, 0, 1]


def test_a_tie_goes_on_in_another_voice_and_never_to_another_pitch() -> None:
    other_voice = part_xml([tied("start"), tied("stop")]).replace(b"<voice>1</voice>", b"<voice>2</voice>", 1)
    (note,) = notes_of(other_voice)
    assert note.duration == 2
    another = [tied("start"), NoteText("A", 0, 4, extra='<notations><tied type="stop"/></notations>')]
    assert [note.duration for note in notes_of(part_xml(another))] == [1, 1]


def test_a_slur_left_open_ends_at_a_rest() -> None:
    opened = NoteText("G", 0, 4, extra=START)
    after = NoteText("A", 0, 4, lead=REST)
    notes = notes_of(part_xml([opened, G, after, G], per_measure=5))
    assert [note.slurred for note in notes] == [False, True, False, False]


def test_a_slur_leads_to_its_last_note_and_no_further() -> None:
    notes = notes_of(part_xml([NoteText("G", 0, 4, extra=START), G, NoteText("A", 0, 4, extra=STOP), G]))
    assert [note.slurred for note in notes] == [False, True, True, False]


METRONOME = (
    "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>{}</per-minute>"
    '</metronome></direction-type><sound tempo="{}"/></direction>'
)


def test_the_metronome_mark_is_played_and_not_what_a_playback_says_beside_it() -> None:
    found = read(open_text(part_xml([NoteText("G", 0, 4, lead=METRONOME.format(60, 144))]).decode()))
    assert found.tempos == (Tempo(0.0, 0, 60.0, "metronome"),)
    assert Clock(found.tempos).seconds(4.0) == pytest.approx(4.0)


def test_a_playback_tempo_counts_where_no_mark_is_printed_and_never_against_one() -> None:
    played = '<sound tempo="144"/>'
    found = read(open_text(part_xml([NoteText("G", 0, 4, lead=played)]).decode()))
    assert found.tempos == (Tempo(0.0, 0, 144.0, "sound"),)
    both = read(open_text(part_xml([NoteText("G", 0, 4, lead=METRONOME.format(60, 60) + played)]).decode()))
    assert Clock(both.tempos).seconds(4.0) == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("beats", "unit", "lengths", "expected"),
    [
        # Beats are the signature's own: eighths in 6/8.
        (6, 8, (1, 1, 1, 1, 1, 1), (1, 2, 3, 4, 5, 6)),
        (6, 8, (3, 3), (1, 4)),
        (2, 2, (4, 4), (1, 2)),
        (3, 16, (1,), (1,)),
        # An upbeat is counted from the end of its measure.
        (6, 8, (1,), (6,)),
        (6, 8, (2, 1), (4, 6)),
    ],
)
def test_beats_are_those_of_the_signature(
    beats: int, unit: int, lengths: tuple[int, ...], expected: tuple[int, ...]
) -> None:
    notes = [NoteText("G", 0, 4, divisions=length) for length in lengths]
    xml = part_xml(notes, per_measure=len(notes)).replace(b"<divisions>1<", b"<divisions>2<")
    xml = xml.replace(b"<beats>4<", f"<beats>{beats}<".encode())
    xml = xml.replace(b"<beat-type>4<", f"<beat-type>{unit}<".encode())
    if unit == 16:
        xml = xml.replace(b"<divisions>2<", b"<divisions>4<")
        expected = (3,)  # a lone sixteenth of three
    report = annotator.annotate(xml).report
    assert [note["beat"] for note in report["parts"][0]["lines"][0]["notes"]] == list(expected)


def test_after_a_da_capo_in_the_file_repeats_are_taken_once_unless_it_says_so() -> None:
    repeat = '<barline location="right"><repeat direction="backward"{}/></barline>'
    words = "<direction><direction-type><words>D.C.</words></direction-type></direction>"

    def order(after_jump: str) -> tuple[int, ...]:
        xml = part_xml([G, G, NoteText("A", 0, 4, lead=words)], per_measure=1).decode()
        xml = xml.replace("</measure>", repeat.format(after_jump) + "</measure>", 1)
        return unfold(signs(open_text(xml).root, "P1")).order

    assert order("") == (0, 0, 1, 2, 0, 1, 2)
    assert order(' after-jump="yes"') == (0, 0, 1, 2, 0, 0, 1, 2)


def test_an_mxl_keeps_its_comment_its_order_and_what_else_is_in_it() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.comment = b"from the library, shelf 12"
        archive.writestr("picture.png", b"\x89PNG", zipfile.ZIP_STORED)
        container = '<container><rootfiles><rootfile full-path="score.xml"/></rootfiles></container>'
        archive.writestr(CONTAINER, container)
        archive.writestr("score.xml", part_xml([G] * 4, transpose=(2, 4), name="Tromba in E"))
    marked = annotator.annotate(out.getvalue()).data
    for data in (marked, annotator.strip(marked)):
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            assert archive.comment == b"from the library, shelf 12"
            assert archive.namelist() == ["picture.png", CONTAINER, "score.xml"]
            assert archive.read("picture.png") == b"\x89PNG"
            assert archive.getinfo("picture.png").compress_type == zipfile.ZIP_STORED
    assert open_source(annotator.strip(marked)).xml == open_source(out.getvalue()).xml
