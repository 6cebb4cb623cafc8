"""What we read of a file against music21's reading of it (BSD licence): onset, pitch, duration, tie, slur.

Music: the demo scores, the LilyPond project's MusicXML suite in music21's copy, three Bach chorales from
music21's corpus. Every file on which the two differ is listed with its reason.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import music21
import pytest

from annotator.errors import CrooklineError
from annotator.score.model import Part
from annotator.score.reader import open_text, read
from annotator.score.source import open_source
from tests.reference.corpus import BACH, LILYPOND_SUITE, part_ids

DEMO_FOLDER = Path(__file__).parents[2] / "demo_scores"
DEMO = sorted([*DEMO_FOLDER.glob("*.musicxml"), *DEMO_FOLDER.glob("*.mxl")])
FILES = [*DEMO, *LILYPOND_SUITE, *BACH.values()]

DIFFERENT = {
    "01d-Pitches-Microtones.xml": "no valves play quarter tones: they are told and left out of the line",
    "01f-Pitches-EditorialMicrotoneAccidentals.xml": "quarter tones, as above",
    "02e-Rests-NoType.xml": "a note of two staves that names none: music21 has it on both, we on the first",
    "21f-Chord-ElementInBetween.xml": "a direction inside a chord: music21 makes notes of their own after it",
    "32c-MultipleNotationChildren.xml": "A with a sharp, no alter: music21 believes the sign, we the pitch",
    "33i-Ties-NotEnded.xml": "a tie that ends and begins nowhere: each guesses another beginning",
    "61f-Lyrics-GracedNotes.xml": "grace notes inside a tie: who has played them strikes the note again",
}
"""Files on which the two readings differ, and why."""

REFUSED = {"41g-PartNoId.xml": "the part's music has no id, so nothing says whose it is"}
"""Files that we do not read, and why."""


class Struck(NamedTuple):
    """A note that is struck: the index of its measure, quarters from the measure's beginning to the note,
    its pitch in semitones (C4 = 60), its length in quarters with all that is tied on, whether it is a grace
    note and whether a slur leads to it."""

    measure: int
    offset: float
    semitone: float
    length: float
    grace: bool
    slurred: bool


def ours(part: Part) -> Counter[Struck]:
    """A part as we read it. A chord's notes are on lines of their own."""
    fractions = {head.place: head.fraction for head in part.heads}
    return Counter(
        Struck(
            note.measure,
            round(note.offset, 3),
            note.pitch.semitone + fractions[note.place],
            round(note.duration, 3),
            note.grace,
            note.slurred,
        )
        for line in part.lines
        for note in line.notes
    )


def theirs(part: music21.stream.Part, slurs: list[music21.spanner.Slur]) -> Counter[Struck]:
    """A part as music21 reads it, ties added up along each pitch."""
    under = _slurred(part, slurs)
    open_ties: dict[float, int] = {}
    found: list[Struck] = []
    heads = sorted(_heads(part), key=lambda head: (head[0], head[1], not head[2].duration.isGrace))
    for measure, offset, note, element in heads:
        pitch = note.pitch.ps
        tie = note.tie.type if note.tie is not None else ""
        if tie in ("stop", "continue") and pitch in open_ties:
            place = open_ties[pitch] if tie == "continue" else open_ties.pop(pitch)
            found[place] = found[place]._replace(
                length=round(found[place].length + float(element.quarterLength), 3)
            )
            continue
        if tie in ("start", "continue"):
            open_ties[pitch] = len(found)
        found.append(
            Struck(
                measure,
                round(offset, 3),
                pitch,
                round(float(element.quarterLength), 3),
                element.duration.isGrace,
                id(element) in under,
            )
        )
    return Counter(found)


def _parts(score: music21.stream.Score) -> list[Counter[Struck]]:
    """The parts of the file; music21 makes one of each staff."""
    found: list[Counter[Struck]] = []
    # With several staves the slurs may lie in another one's part.
    slurs = list(score.recurse().getElementsByClass(music21.spanner.Slur))
    of_staves = ""
    for part in score.parts:
        name, staff, _ = str(part.id).rpartition("-Staff")
        if staff and name == of_staves:
            found[-1] = found[-1] + theirs(part, slurs)
        else:
            found.append(theirs(part, slurs))
        of_staves = name if staff else ""
    return found


def _measures(part: music21.stream.Part) -> list[music21.stream.Measure]:
    return list(part.getElementsByClass(music21.stream.Measure))


def _heads(
    part: music21.stream.Part,
) -> Iterator[tuple[int, float, music21.note.Note, music21.note.GeneralNote]]:
    for index, measure in enumerate(_measures(part)):
        for element in measure.recurse().notes:
            if isinstance(element, music21.harmony.Harmony) or element.style.noteSize == "cue":
                continue
            offset = float(element.getOffsetInHierarchy(measure))
            for note in element.notes if isinstance(element, music21.chord.Chord) else [element]:
                if isinstance(note, music21.note.Note):
                    yield index, offset, note, element


def _slurred(part: music21.stream.Part, slurs: list[music21.spanner.Slur]) -> set[int]:
    """The ids of the notes and chords that a slur leads to, voice by voice."""
    voices: dict[str, list[music21.note.GeneralNote]] = {}
    for measure in _measures(part):
        streams = list(measure.voices) or [measure]
        for stream in streams:
            name = str(stream.id) if isinstance(stream, music21.stream.Voice) else "1"
            voices.setdefault(name, []).extend(stream.notes)
    under: set[int] = set()
    for slur in slurs:
        first, last = id(slur.getFirst()), id(slur.getLast())  # type: ignore[no-untyped-call]
        for notes in voices.values():
            ids = [id(note) for note in notes]
            if first in ids and last in ids:
                under.update(ids[ids.index(first) + 1 : ids.index(last) + 1])
    return under


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_a_part_is_read_as_music21_reads_it(path: Path) -> None:
    data = path.read_bytes()
    if path.name in REFUSED:
        with pytest.raises(CrooklineError):
            read(open_text(open_source(data).text), part_ids(data))
        return
    score = read(open_text(open_source(data).text), part_ids(data))
    text = open_source(data).text.lstrip("\ufeff")
    parsed = music21.converter.parse(text, format="musicxml", forceSource=True)
    assert isinstance(parsed, music21.stream.Score)
    by_id = dict(zip(part_ids(data), _parts(parsed), strict=False))
    differences = [
        (part.id, sorted((ours(part) - by_id[part.id] | by_id[part.id] - ours(part)).elements()))
        for part in score.parts
    ]
    if path.name in DIFFERENT:
        assert any(notes for _, notes in differences), f"{path.name} is read alike now: off the list"
    else:
        assert not [each for each in differences if each[1]]


def test_the_comparison_sees_each_kind_of_fault() -> None:
    """That it can fail: a reading with one thing wrong is another reading."""
    part = read(open_text(open_source(DEMO[0].read_bytes()).text), ("P1",)).parts[0]
    read_so = ours(part)
    line = part.lines[0]
    longest = max(line.notes, key=lambda note: note.duration)
    slurred = next(note for note in line.notes if note.slurred)
    for note, wrong in (
        (longest, longest._replace(duration=longest.duration / 2)),
        (longest, longest._replace(offset=longest.offset + 0.25)),
        (slurred, slurred._replace(slurred=False)),
    ):
        notes = tuple(wrong if each is note else each for each in line.notes)
        assert ours(replace(part, lines=(replace(line, notes=notes), *part.lines[1:]))) != read_so
