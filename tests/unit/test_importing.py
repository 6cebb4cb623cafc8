"""Other formats brought to MusicXML: the notes as they were, what was lost said, what is hostile refused."""

from __future__ import annotations

import pickle
import struct
import sys
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from annotator.errors import UnreadableScore
from annotator.findings import Finding
from annotator.importing import importing
from annotator.importing.formats import format_of
from annotator.importing.importing import LARGEST, to_musicxml
from annotator.instruments import load
from annotator.reading import is_trumpet, segments
from annotator.score.model import Part
from annotator.score.reader import open_text, read
from annotator.score.source import open_source
from tests.musicxml_schema import schema_errors

ABC = """X:1
T:Call
M:4/4
L:1/4
Q:1/4=96
K:Eb
V:1 name="Trumpet in E flat"
(E G) B2|!f!e2 ^f2|!trill!d4|
w: one two
"""
HUMDRUM = """**kern\t**dynam
*Itrumpt\t*
*I"Trumpet in E flat\t*
*ITrd-2c-3\t*
*clefG2\t*
*k[b-e-a-]\t*
*M4/4\t*
=1\t=1
(4e-\tf
4g)\t.
2b-\t.
=2\t=2
2ee-\t.
2ff#'\t.
=3\t=3
1dd\t.
==\t==
*-\t*-
"""
MEI = """<?xml version="1.0" encoding="UTF-8"?>
<mei xmlns="http://www.music-encoding.org/ns/mei" meiversion="4.0.0"><meiHead><fileDesc><titleStmt>
<title>Call</title></titleStmt><pubStmt/></fileDesc></meiHead><music><body><mdiv><score>
<scoreDef meter.count="4" meter.unit="4" key.sig="3f"><staffGrp>
<staffDef n="1" lines="5" clef.shape="G" clef.line="2" label="Trumpet in E flat"{transposes}/>
</staffGrp></scoreDef>
<section><measure n="1"><staff n="1"><layer n="1">
<note xml:id="a" pname="e" accid.ges="f" oct="4" dur="4"/>
<note xml:id="b" pname="g" oct="4" dur="4"/><note pname="b" accid.ges="f" oct="4" dur="2"/></layer></staff>
<slur startid="#a" endid="#b"/><dynam staff="1" tstamp="1">f</dynam></measure>
<measure n="2"><staff n="1"><layer n="1"><note pname="e" accid.ges="f" oct="5" dur="2"/>
<note pname="f" accid="s" oct="5" dur="2"/></layer></staff></measure>
<measure n="3"><staff n="1"><layer n="1"><note pname="d" oct="5" dur="1"/></layer></staff></measure>
</section></score></mdiv></body></music></mei>"""
PLAIN_MEI = MEI.replace("{transposes}", "")
NOTES = [("Eb4", 1.0), ("G4", 1.0), ("Bb4", 2.0), ("Eb5", 2.0), ("F#5", 2.0), ("D5", 4.0)]
SOUNDS = [63, 67, 70, 75, 78, 74]


def number(value: int) -> bytes:
    """A variable-length number (Standard MIDI Files 1.0)."""
    out = bytes([value & 0x7F])
    while value := value >> 7:
        out = bytes([value & 0x7F | 0x80]) + out
    return out


def midi(
    notes: list[tuple[int, int]], *, fifths: int | None = -3, name: str = "Trumpet in E flat", ticks: int = 24
) -> bytes:
    """A MIDI file of one track: (note number, ticks) one after the other, on a trumpet."""
    track = b"\x00\xff\x03" + number(len(name)) + name.encode() + b"\x00\xc0\x38"
    if fifths is not None:
        track += b"\x00\xff\x59\x02" + struct.pack("b", fifths) + b"\x00"
    for sound, length in notes:
        track += b"\x00\x90" + bytes([sound, 80]) + number(length) + b"\x80" + bytes([sound, 0])
    track += b"\x00\xff\x2f\x00"
    header = b"MThd" + struct.pack(">IHHH", 6, 1, 1, ticks)
    return header + b"MTrk" + struct.pack(">I", len(track)) + track


MIDI = midi([(sound, int(24 * length)) for sound, (_, length) in zip(SOUNDS, NOTES, strict=True)])
FILES = {
    "call.abc": ABC.encode(),
    "call.krn": HUMDRUM.encode(),
    "call.mei": PLAIN_MEI.encode(),
    "call.mid": MIDI,
}


def imported(data: bytes, name: str = "") -> tuple[bytes, tuple[Finding, ...]]:
    """Imported in this process, which is quicker."""
    return to_musicxml(data, name, apart=False)


def part_of(xml: bytes) -> Part:
    source = open_source(xml)
    return read(open_text(source.text), (), is_trumpet).parts[0]


def codes(findings: tuple[Finding, ...]) -> list[str]:
    return [finding.code for finding in findings]


@pytest.mark.parametrize("name", FILES)
def test_the_same_tune_in_every_format(name: str) -> None:
    xml, findings = imported(FILES[name], name)
    part = part_of(xml)
    assert part.name == "Trumpet in E flat"
    # MIDI knows no spelling: by the key alone the F♯ is taken for a G♭.
    expected = [("Gb5", 2.0) if row[0] == "F#5" and name == "call.mid" else row for row in NOTES]
    assert [(note.pitch.name, note.duration) for line in part.lines for note in line.notes] == expected
    assert [note.pitch.semitone for line in part.lines for note in line.notes] == SOUNDS
    assert [key.fifths for key in part.keys] == [-3]
    assert schema_errors(xml) == []
    assert imported(FILES[name], name) == (xml, findings)
    assert imported(FILES[name], "no ending") == (xml, findings)


@pytest.mark.parametrize("name", FILES)
def test_no_transposition_is_made_up(name: str) -> None:
    """music21 takes a trumpet to be in B♭ unless told otherwise; the file did not say so."""
    part = part_of(imported(FILES[name], name)[0])
    assert [item.interval.chromatic for item in part.transpositions] == [0] * len(part.transpositions)
    plain = FILES[name].replace(b"Trumpet in E flat", b"Trumpet          ")
    part = part_of(imported(plain, name)[0])
    assert all(item.interval.chromatic == 0 for item in part.transpositions)


def test_sounding_formats_are_read_as_they_sound() -> None:
    """Whatever the heading says, the player reads what sounds."""
    for name in ("call.krn", "call.mid"):
        xml, findings = imported(FILES[name], name)
        assert "import-sounding" in codes(findings)
        reading = segments(part_of(xml), load("c-trumpet"))
        assert not reading.differs
        assert reading.segments[0].natural_crook.id == "Eb"
        assert [finding.code for finding in reading.findings] == ["concert-pitch"]


def test_mei_that_gives_a_transposition_keeps_it() -> None:
    mei = MEI.replace("{transposes}", ' trans.diat="2" trans.semi="3"').encode()
    part = part_of(imported(mei, "call.mei")[0])
    assert [(item.interval.diatonic, item.interval.chromatic) for item in part.transpositions] == [(2, 3)]
    assert [note.pitch.name for note in part.lines[0].notes] == [name for name, _ in NOTES]


def test_mei_in_utf_16() -> None:
    mei = PLAIN_MEI.replace("UTF-8", "UTF-16").encode("utf-16")
    assert [note.pitch.name for note in part_of(imported(mei)[0]).lines[0].notes] == [
        name for name, _ in NOTES
    ]


@pytest.mark.parametrize(
    ("name", "lost"),
    [
        ("call.abc", ["dynamics", "ornaments", "lyrics"]),
        ("call.krn", ["slurs", "dynamics"]),
        ("call.mei", ["dynamics"]),
        ("call.mid", ["slurs", "articulations", "dynamics"]),
    ],
)
def test_what_was_lost_is_said(name: str, lost: list[str]) -> None:
    _, findings = imported(FILES[name], name)
    message = next(finding.message for finding in findings if finding.code == "import-lost")
    assert all(word in message for word in lost)


def test_nothing_lost_nothing_said() -> None:
    assert imported(b"X:1\nM:4/4\nL:1/4\nK:C\n(CE) G c|\n", "a.abc")[1] == ()


@pytest.mark.parametrize(
    ("fifths", "expected"),
    [
        (0, "C C# D Eb E F F# G G# A Bb B"),
        (4, "B# C# D D# E E# F# G G# A A# B"),
        (-4, "C Db D Eb E F Gb G Ab A Bb Cb"),
    ],
)
def test_midi_is_spelled_by_its_key(fifths: int, expected: str) -> None:
    xml, findings = imported(midi([(sound, 24) for sound in range(60, 72)], fifths=fifths))
    names = [note.pitch.name.rstrip("0123456789") for note in part_of(xml).lines[0].notes]
    assert names == expected.split()
    assert [note.pitch.semitone for note in part_of(xml).lines[0].notes] == list(range(60, 72))
    assert "spelling-guessed" in codes(findings)
    assert b"guessed from the key" in xml


def test_midi_without_key_is_spelled_by_its_notes() -> None:
    scale = [64, 66, 68, 69, 71, 73, 75, 76, 71, 68, 64]  # E major
    xml, findings = imported(midi([(sound, 24) for sound in scale], fifths=None))
    assert [note.pitch.name for note in part_of(xml).lines[0].notes][:7] == [
        "E4",
        "F#4",
        "G#4",
        "A4",
        "B4",
        "C#5",
        "D#5",
    ]
    assert any("E major" in finding.message for finding in findings if finding.code == "spelling-guessed")


def test_midi_off_the_grid_is_said() -> None:
    _, findings = imported(midi([(60, 200), (62, 480 + 280), (64, 480)], ticks=480))
    assert "import-rounded" in codes(findings)


def test_several_pieces_follow_one_another() -> None:
    xml, findings = imported(
        b"X:1\nT:One\nM:4/4\nL:1/4\nK:C\nCEGc|\n\nX:2\nT:Two\nM:4/4\nL:1/4\nK:D\nDFAd|\n", "a.abc"
    )
    part = part_of(xml)
    assert codes(findings) == ["import-pieces"]
    names = " ".join(note.pitch.name for note in part.lines[0].notes)
    assert names == "C4 E4 G4 C5 D4 F#4 A4 D5"
    assert [key.fifths for key in part.keys] == [0, 2]
    starts = [measure.start for measure in part.measures]
    assert all(before < after for before, after in pairwise(starts))


@pytest.mark.parametrize(
    ("data", "name"),
    [
        (b"http://localhost/score.abc", "score.abc"),
        (b"/etc/passwd", "score.krn"),
        (pickle.dumps({"a": 1}), "score.p"),
        (pickle.dumps({"a": 1}), "score.abc"),
        (b"", "score.abc"),
        (b"", ""),
        (b"\x00" * 100, "score.mid"),
        (b"MThd\x00", "score.mid"),
        (b"not music at all", "score.txt"),
        (b"not music at all", "score.mei"),
        (b"X:1\nK:C\n", "score.abc"),
        (b"X:1\nL:1/4\nK:C\nC1000000000|\n", "score.abc"),
        (b"X:1\nM:4/4\nL:1000000\nK:C\nC|\n", "score.abc"),
        (b"**kern\n1%9999999c\n*-\n", "score.krn"),
        (b'<!DOCTYPE mei [<!ENTITY a "b">]><mei>&a;</mei>', "score.mei"),
        (b"%PDF-1.7", "score.pdf"),
        (b"X:1\nK:C\n" + b"C" * LARGEST, "score.abc"),
        (midi([(60, 0x0FFFFFFF), (62, 0x0FFFFFFF)], ticks=1), "score.mid"),
    ],
)
def test_refused_with_a_reason(data: bytes, name: str) -> None:
    with pytest.raises(UnreadableScore) as caught:
        imported(data, name)
    assert len(caught.value.message) < 400
    assert "Traceback" not in caught.value.message


def test_musicxml_is_not_imported() -> None:
    assert format_of(b'<?xml version="1.0"?><score-partwise version="4.0"/>', "a.abc") is None
    assert format_of(b"PK\x03\x04", "a.mxl") is None
    assert format_of(b"<mei/>") is not None


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(st.sampled_from(["call.abc", "call.krn", "call.mei"]), st.data())
def test_damaged_files_are_read_or_refused(name: str, data: st.DataObject) -> None:
    """A few bytes changed, cut or doubled: a score comes out, or a clear refusal."""
    original = FILES[name]
    start = data.draw(st.integers(0, len(original)))
    end = data.draw(st.integers(start, min(len(original), start + 12)))
    damaged = original[:start] + data.draw(st.binary(max_size=4)) + original[end:]
    try:
        xml, _ = imported(damaged, name)
    except UnreadableScore:
        return
    open_source(xml)


def test_in_a_process_of_its_own() -> None:
    for name, data in FILES.items():
        assert to_musicxml(data, name) == imported(data, name)
    with pytest.raises(UnreadableScore, match="no notes"):
        to_musicxml(b"X:1\nK:C\n", "score.abc")


def test_what_takes_too_long_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importing, "SECONDS", 0.2)
    with pytest.raises(UnreadableScore, match="within"):
        to_musicxml(ABC.encode(), "call.abc")


def test_what_takes_too_much_memory_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    """The process dies, and what it was about is said."""
    monkeypatch.setattr(sys, "executable", "/bin/false")
    with pytest.raises(UnreadableScore, match="memory"):
        to_musicxml(ABC.encode(), "call.abc")


def test_doubts_of_the_reader_are_passed_on() -> None:
    _, findings = imported(HUMDRUM.replace("4g)", "4").encode(), "call.krn")
    assert "import-doubt" in codes(findings)
