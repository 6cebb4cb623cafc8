"""Files from outside: each is marked without harm, or refused in words.

Sources: the LilyPond project's MusicXML test suite and Bach chorales, both as music21 carries them;
the MusicXML 4.0 schema (W3C Music Notation Community Group); music21's reader as the second opinion.
"""

from __future__ import annotations

import io
import zipfile
from collections import Counter
from pathlib import Path

import music21
import pytest

import annotator
from annotator.score.source import open_source
from annotator.transposed import transposed_part
from tests.musicxml_schema import schema_errors
from tests.reference.corpus import BACH, LILYPOND_SUITE, part_ids

ALL_MARKS = ("fingering", "partial", "crossing", "cue", "intonation")
REFUSED = {"41g-PartNoId.xml": "no music"}
"""What cannot be marked even when every part is asked for, and what is said."""

Sounding = list[tuple[float, float, tuple[int, ...]]]


def errors(data: bytes) -> list[str]:
    return schema_errors(open_source(data).xml)


def members(data: bytes) -> list[tuple[str, bytes]]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return [(name, archive.read(name)) for name in archive.namelist()]


def parsed(data: bytes) -> music21.stream.Score | None:
    """What music21 makes of a score, or None where its reader gives up."""
    text = open_source(data).text.lstrip("\ufeff")
    try:
        score = music21.converter.parse(text, format="musicxml", forceSource=True)
    except Exception:  # music21's reader raises anything on the suite's odd corners
        return None
    return score if isinstance(score, music21.stream.Score) else None


def sounding(part: music21.stream.Part) -> Sounding:
    """Onset, duration and pitches of everything with pitches."""
    return [
        (float(note.offset), float(note.quarterLength), tuple(pitch.ps for pitch in note.pitches))
        for note in part.flatten().notes
        if note.pitches
    ]


def fingerings(part: music21.stream.Part) -> Counter[str]:
    """The fingerings music21 sees, alternates left out."""
    return Counter(
        str(mark.fingerNumber)
        for note in part.flatten().notes
        for mark in note.articulations
        if isinstance(mark, music21.articulations.Fingering) and not mark.alternate
    )


def check(data: bytes, options: annotator.Options) -> annotator.Annotated:
    """Everything that must hold of a marked file, whatever it is."""
    marked = annotator.annotate(data, options)
    stripped = annotator.strip(marked.data)
    if data.startswith(b"PK"):
        assert members(stripped) == members(data)
    else:
        assert stripped == data
    assert annotator.annotate(marked.data, options).data == marked.data
    if not errors(data):
        assert not errors(marked.data)
        assert not errors(transposed_part(data, options))
    return marked


def check_against_music21(data: bytes, marked: annotator.Annotated) -> None:
    before, after = parsed(data), parsed(marked.data)
    assert (before is None) == (after is None)
    if before is None or after is None:
        return
    reports = {part["id"]: part for part in marked.report["parts"]}
    cues = [part for part in after.parts if "as read on" in (part.partName or "")]
    others = [part for part in after.parts if part not in cues]
    assert [sounding(part) for part in others] == [sounding(part) for part in before.parts]
    expected: Counter[str] = Counter()
    for report in reports.values():
        for line in report["lines"]:
            expected.update(
                note["fingering"] for note in line["notes"] if note["fingering"] and not note["printed"]
            )
    for part in before.parts:
        expected += fingerings(part)
    found: Counter[str] = Counter()
    for part in others:
        found += fingerings(part)
    if any(isinstance(part, music21.stream.PartStaff) for part in others):
        # A note that names no staff stands in both of music21's staves.
        assert set(found) == set(expected)
    else:
        assert found == expected


@pytest.mark.parametrize("path", LILYPOND_SUITE, ids=lambda path: path.name)
@pytest.mark.parametrize("instrument", ["c-trumpet", "bb-trumpet"])
def test_every_file_of_the_suite_is_marked_or_refused_in_words(path: Path, instrument: str) -> None:
    data = path.read_bytes()
    options = annotator.Options(instrument=instrument, mark=ALL_MARKS, part=tuple(part_ids(data)))
    if path.name in REFUSED:
        with pytest.raises(annotator.CrooklineError, match=REFUSED[path.name]):
            annotator.annotate(data, options)
        return
    marked = check(data, options)
    check_against_music21(data, marked)


def test_the_suite_is_whole() -> None:
    """142 .xml files and one .mxl, as music21 10.5 carries the suite."""
    assert len(LILYPOND_SUITE) == 143


@pytest.mark.parametrize("path", BACH.values(), ids=BACH.keys())
def test_the_trumpets_of_a_chorale_are_marked_and_nothing_else(path: Path) -> None:
    data = path.read_bytes()
    marked = check(data, annotator.Options(instrument="bb-trumpet", mark=ALL_MARKS))
    assert [part["name"] for part in marked.report["parts"]] == ["Trumpet 1", "Trumpet 2", "Trumpet 3"]
    check_against_music21(data, marked)


@pytest.mark.parametrize(
    ("name", "crook"), [("bwv69.6.xml", "D"), ("bwv29.8.mxl", "D"), ("bwv137.5.mxl", "C")]
)
def test_the_chorales_are_natural_on_their_crook(name: str, crook: str) -> None:
    """Measured once by hand: every note of these parts is a natural partial on D, D and C."""
    marked = annotator.annotate(BACH[name].read_bytes(), annotator.Options(crook="infer"))
    notes = [note for part in marked.report["parts"] for line in part["lines"] for note in line["notes"]]
    assert notes
    assert all(note["natural_partial"] is not None for note in notes)
    assert {note["sounding"] == note["written"] for note in notes} == {True}, "inference moves no pitch"
    assert all(crook in part["segments"][0]["evidence"] for part in marked.report["parts"]) or crook == "C"
