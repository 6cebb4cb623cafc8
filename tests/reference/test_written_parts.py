"""The cue line and the transposed part against music21, note for note, spelling and keys included.

music21 (BSD licence) transposes the original by the interval the report names; what we wrote must be that.
Music: the demo scores, the LilyPond suite's files on transposing instruments (72a–72c), Bach chorales.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import music21
import pytest
from music21.interval import Interval, intervalFromGenericAndChromatic

import annotator
from annotator.score.source import open_source
from annotator.transposed import transposed_part
from tests.reference.corpus import BACH, LILYPOND_SUITE, part_ids

DEMO_FOLDER = Path(__file__).parents[2] / "demo_scores"
DEMO = sorted([*DEMO_FOLDER.glob("*.musicxml"), *DEMO_FOLDER.glob("*.mxl")])
TRANSPOSING = [path for path in LILYPOND_SUITE if path.name.startswith("72")]
FILES = [*DEMO, *TRANSPOSING, *BACH.values()]
INSTRUMENTS = ("c-trumpet", "bb-trumpet", "d-trumpet")

Written = tuple[str, float, str]
"""Measure number, offset in it, pitch with octave."""


def parse(data: bytes) -> music21.stream.Score:
    text = open_source(data).text.lstrip("\ufeff")
    score = music21.converter.parse(text, format="musicxml", forceSource=True)
    assert isinstance(score, music21.stream.Score)
    return score


def number_of(measure: music21.stream.Measure) -> str:
    return str(measure.measureNumberWithSuffix())  # type: ignore[no-untyped-call]


def interval(read: dict[str, Any]) -> Interval:
    steps = read["diatonic"]
    return intervalFromGenericAndChromatic(steps + 1 if steps >= 0 else steps - 1, read["chromatic"])


def written(part: music21.stream.Part) -> Iterator[tuple[music21.stream.Measure, float, music21.pitch.Pitch]]:
    for measure in part.getElementsByClass(music21.stream.Measure):
        for note in measure.recurse().notes:
            if note.style.noteSize == "cue":
                continue
            for pitch in note.pitches:
                yield measure, float(note.getOffsetInHierarchy(measure)), pitch


def spelled(items: Iterator[tuple[music21.stream.Measure, float, music21.pitch.Pitch]]) -> list[Written]:
    return sorted((number_of(m), offset, pitch.nameWithOctave) for m, offset, pitch in items)


def enharmonic(notes: list[Written]) -> list[tuple[str, float, float]]:
    return sorted((m, offset, music21.pitch.Pitch(name).ps) for m, offset, name in notes)


def segment_of(segments: list[dict[str, Any]], numbers: list[str]) -> dict[str, dict[str, Any]]:
    """The segment in force in each measure (by the file's number)."""
    found: dict[str, dict[str, Any]] = {}
    for segment in segments:
        first, last = numbers.index(segment["from_measure"]), numbers.index(segment["to_measure"])
        found |= dict.fromkeys(numbers[first : last + 1], segment)
    return found


def expected(part: music21.stream.Part, segments: list[dict[str, Any]]) -> tuple[list[Written], bool]:
    """What music21 makes of the part, and whether a key on the way passes six sharps or flats."""
    measures = list(part.getElementsByClass(music21.stream.Measure))
    numbers = [number_of(measure) for measure in measures]
    at = segment_of(segments, numbers)
    signatures = [
        (number_of(measure), key)
        for measure in measures
        for key in measure.recurse().getElementsByClass(music21.key.KeySignature)
    ]
    has_signature = any(key.sharps for _, key in signatures)
    too_many = False
    for number, segment in at.items():
        fifths = 0
        for where, key in signatures:
            if numbers.index(where) <= numbers.index(number):
                fifths = key.sharps
        moved = music21.key.KeySignature(fifths if has_signature else 0).transpose(interval(segment["read"]))
        too_many = too_many or abs(moved.sharps) > 6
    notes = []
    for measure, offset, pitch in written(part):
        number = number_of(measure)
        moved_pitch = pitch.transpose(interval(at[number]["read"]))
        notes.append((number, offset, moved_pitch.nameWithOctave))
    return sorted(notes), too_many


def original(data: bytes, report: dict[str, Any]) -> list[music21.stream.Part]:
    """The parts of the file that the report speaks of."""
    ids = part_ids(data)
    score = parse(data)
    return [score.parts[ids.index(part["id"])] for part in report["parts"]]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
@pytest.mark.parametrize("instrument", INSTRUMENTS)
def test_what_is_written_is_what_music21_transposes(path: Path, instrument: str) -> None:
    data = path.read_bytes()
    named = tuple(part_ids(data)) if path in TRANSPOSING else ()
    options = annotator.Options(instrument=instrument, part=named)
    marked = annotator.annotate(data, options)
    whole = parse(transposed_part(data, annotator.Options(instrument=instrument, part=named, mark=())))
    cues = [part for part in parse(marked.data).parts if "as read on" in (part.partName or "")]
    parts = marked.report["parts"]
    assert len(whole.parts) == len(parts)
    differing = [each for each in parts if any(segment["read"]["chromatic"] for segment in each["segments"])]
    assert len(cues) == len(differing)
    for part, before, after in zip(parts, original(data, marked.report), whole.parts, strict=True):
        wanted, too_many = expected(before, part["segments"])
        results = [spelled(written(after))]
        if part in differing:
            results.append(spelled(written(cues[differing.index(part)])))
        for result in results:
            if too_many:
                assert enharmonic(result) == enharmonic(wanted)
            else:
                assert result == wanted


@pytest.mark.parametrize("path", DEMO, ids=lambda path: path.name)
@pytest.mark.parametrize("instrument", INSTRUMENTS)
def test_the_transposed_part_sounds_as_the_original(path: Path, instrument: str) -> None:
    """music21 works out the sounding pitches of both from their ``<transpose>``."""
    data = path.read_bytes()
    report = annotator.annotate(data, annotator.Options(instrument=instrument)).report
    moved = [each for each in report["warnings"] if each["code"] == "octave-moved"]
    after = parse(transposed_part(data, annotator.Options(instrument=instrument, mark=()))).toSoundingPitch()
    for index, before in enumerate(original(data, report)):
        sounding = before.toSoundingPitch()
        one = enharmonic(spelled(written(sounding)))
        other = enharmonic(spelled(written(after.parts[index])))
        if moved:
            one = [(m, offset, ps % 12) for m, offset, ps in one]
            other = [(m, offset, ps % 12) for m, offset, ps in other]
        assert sorted(one) == sorted(other)


@pytest.mark.parametrize("fifths", range(-6, 7))
@pytest.mark.parametrize(
    ("crook", "steps"), [("E", (2, 4)), ("Eb", (2, 3)), ("F", (3, 5)), ("A", (-2, -3)), ("Bb", (-1, -2))]
)
def test_keys_follow_and_stay_within_six_accidentals(fifths: int, crook: str, steps: tuple[int, int]) -> None:
    from tests.unit.parts import NoteText, part_xml

    data = part_xml([NoteText("C", 0, 5)], transpose=steps, fifths=fifths, name=f"Trumpet in {crook}")
    written_key = music21.key.KeySignature(fifths)
    moved = written_key.transpose(
        intervalFromGenericAndChromatic(steps[0] + 1 if steps[0] >= 0 else steps[0] - 1, steps[1])
    )
    options = annotator.Options(instrument="c-trumpet", key="signature", mark=())
    (part,) = parse(transposed_part(data, options)).parts
    (found,) = part.recurse().getElementsByClass(music21.key.KeySignature)
    assert abs(found.sharps) <= 6
    assert found.sharps in (moved.sharps, moved.sharps - 12, moved.sharps + 12)
    if abs(moved.sharps) <= 6:
        assert found.sharps == moved.sharps
