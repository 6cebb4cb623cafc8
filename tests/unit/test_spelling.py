"""The laws of spelling, for report, cue line and transposed part alike (common practice, no source)."""

from __future__ import annotations

import music21
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

import annotator
from annotator.keys import alters_of_key
from annotator.pitch import STEPS, UNISON, Interval, Pitch
from annotator.reading.crooks import CROOKS, Crook
from annotator.reading.spelling import spell
from annotator.transposed import transposed_part
from tests.unit.parts import NoteText, part_xml

PITCHES = [Pitch(step, alter, octave) for octave in (4, 5) for step in STEPS for alter in (-2, -1, 0, 1, 2)]
REST = "<note><rest/><duration>1</duration><voice>1</voice><type>quarter</type></note>"
HELD = ("c-trumpet", "bb-trumpet", "eb-trumpet")

lines = st.lists(
    st.tuples(st.sampled_from(PITCHES), st.sampled_from([False, False, False, True])), min_size=2, max_size=14
)


def score(line: list[tuple[Pitch, bool]], crook: Crook, fifths: int) -> bytes:
    """A part of quarters; a note marked True comes after a quarter's rest."""
    notes = [
        NoteText(pitch.step, pitch.alter, pitch.octave, lead=REST if rests else "") for pitch, rests in line
    ]
    sounding = crook.sounding
    return part_xml(notes, transpose=(sounding.diatonic, sounding.chromatic), fifths=fifths)


def printed(root: etree._Element, part: int) -> list[Pitch]:
    """The pitches of a part as its file has them."""
    found = []
    for note in root.findall("part")[part].iter("note"):
        pitch = note.find("pitch")
        if pitch is not None:
            alter = int(pitch.findtext("alter") or 0)
            found.append(Pitch(pitch.findtext("step") or "", alter, int(pitch.findtext("octave") or 0)))
    return found


def obliged(pitch: Pitch, fifths: int) -> bool:
    """Whether a double accidental has its cause in the signature, by music21: one more of the same kind."""
    altered = {each.step: int(each.alter) for each in music21.key.KeySignature(fifths).alteredPitches}
    return altered.get(pitch.step, 0) * 2 == pitch.alter


@settings(max_examples=40, deadline=None)
@given(
    lines,
    st.sampled_from(CROOKS[:14]),
    st.sampled_from(HELD),
    st.integers(-6, 6),
    st.sampled_from(["auto", "none"]),
)
def test_the_laws(line: list[tuple[Pitch, bool]], crook: Crook, held: str, fifths: int, key: str) -> None:
    data = score(line, crook, fifths)
    options = annotator.Options(instrument=held, key=key, mark=("cue",))
    marked = annotator.annotate(data, options)
    (found,) = marked.report["parts"]
    reading = [Pitch.parse(note["reading"]) for note in found["lines"][0]["notes"]]
    root = etree.fromstring(transposed_part(data, annotator.Options(instrument=held, key=key, mark=())))
    # One spelling, wherever it is printed.
    assert printed(root, 0) == reading
    if found["segments"][0]["read"]["chromatic"]:
        assert printed(etree.fromstring(marked.data), 1) == reading
    moved = found["segments"][0]["read"]["chromatic"]
    assert [pitch.semitone - moved for pitch in reading] == [pitch.semitone for pitch, _ in line]
    signature = int(root.findtext(".//fifths") or 0)
    if moved == 0:
        return
    for pitch in reading:
        assert abs(pitch.alter) < 2 or obliged(pitch, signature)
    phrases: list[list[Pitch]] = [[]]
    for pitch, (_, rests) in zip(reading, line, strict=True):
        if rests:
            phrases.append([])
        phrases[-1].append(pitch)
    for phrase in phrases:
        spellings = {(pitch.semitone, pitch.name) for pitch in phrase}
        assert len(spellings) == len({sound for sound, _ in spellings})


@given(st.sampled_from(PITCHES), st.sampled_from(CROOKS), st.sampled_from(CROOKS), st.integers(-6, 6))
def test_spelling_keeps_the_sound_and_the_key(pitch: Pitch, crook: Crook, other: Crook, fifths: int) -> None:
    interval = crook.sounding - other.sounding
    read = spell(pitch, interval, fifths)
    assert read.semitone == pitch.semitone + interval.chromatic
    # A note of the key has the key's spelling.
    if alters_of_key(fifths)[STEPS.index(read.step)] == read.alter:
        assert abs(read.alter) < 2


def test_as_it_stands_nothing_is_respelled() -> None:
    assert spell(Pitch.parse("F##5"), UNISON, None) == Pitch.parse("F##5")


@pytest.mark.parametrize(
    ("written", "crook", "held", "fifths", "expected"),
    [
        # A chromatic line for an E crook on a B♭ trumpet, without a signature.
        ("C5 C#5 D5 D#5 E5", "E", "bb-trumpet", None, "F#5 G5 G#5 A5 A#5"),
        # E natural in D♭ for a B♭ trumpet, on a C trumpet: five sharps, where C double sharp leads nowhere.
        ("E4", "Bb", "c-trumpet", 5, "D4"),
        # The leading note of G sharp minor keeps its double sharp.
        ("A5", "Bb", "c-trumpet", 5, "F##5"),
    ],
)
def test_by_hand(written: str, crook: str, held: str, fifths: int | None, expected: str) -> None:
    interval = {
        ("E", "bb-trumpet"): Interval(3, 6),
        ("Bb", "c-trumpet"): Interval(-2, -2),
    }[crook, held]
    other = fifths is not None
    read = [spell(Pitch.parse(name), interval, fifths, other_key=other) for name in written.split()]
    assert [pitch.name for pitch in read] == expected.split()


def test_a_double_sharp_under_a_signature_that_has_its_step_stays() -> None:
    assert spell(Pitch.parse("G#4"), Interval(6, 11), 4) == Pitch.parse("F##5")
    assert spell(Pitch.parse("G#4"), Interval(6, 11), None) == Pitch.parse("G5")


def test_up_by_sharps_and_down_by_flats_is_read_in_one_spelling() -> None:
    line = [(Pitch.parse(name), False) for name in ["G4", "G#4", "A4", "Ab4", "G4", "G#4"]]
    crook = next(each for each in CROOKS if each.id == "E")
    report = annotator.annotate(score(line, crook, 0)).report
    assert [note["reading"] for note in report["parts"][0]["lines"][0]["notes"]] == [
        "B4", "C5", "C#5", "C5", "B4", "C5",
    ]  # fmt: skip
