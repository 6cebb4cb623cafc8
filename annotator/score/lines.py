"""Note heads gathered into lines: one for each player a part asks for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from annotator.errors import UnreadableScore
from annotator.score.model import Head, Line, Note
from annotator.score.numbers import MOST_LINES
from annotator.score.shapes import NoteShape


class Struck(NamedTuple):
    """A ``<note>`` just read: its number in the file, what it says, and when (quarters in the measure)."""

    place: int
    shape: NoteShape
    onset: float
    duration: float


@dataclass(slots=True)
class _Voice:
    """What a voice remembers from note to note: its lines so far, slurs open, a breath just marked."""

    ranks: list[list[Note]] = field(default_factory=lambda: [[]])
    open_slurs: set[str] = field(default_factory=set)
    breath: bool = False


class LineBuilder:
    """Takes the notes of ``part`` (its id) measure by measure; ``lines()`` gives the players' lines."""

    def __init__(self, part: str = "") -> None:
        self._part = part
        self.heads: list[Head] = []
        self.lyric_numbers: set[str] = set()
        self.rests: set[tuple[int, int, str]] = set()
        self._voices: dict[tuple[int, str], _Voice] = {}

    def add_measure(self, measure: int, start: float, notes: Sequence[Struck]) -> None:
        """Take the notes and rests of ``measure``, which starts at ``start`` quarters, in file order."""
        voices, heads, make = self._voices, self.heads, tuple.__new__
        count = len(notes)
        for index, struck in enumerate(notes):
            place, shape, offset, duration = struck
            pitch = shape.pitch
            if pitch is not None:
                onset = start + offset
                head = (place, pitch, measure, onset, shape.staff, shape.tied, shape.cue, shape.fraction)
                heads.append(make(Head, head))
            if shape.lyrics:
                self.lyric_numbers.update(shape.lyrics)
            if shape.cue or shape.unplayable or (shape.chord and index):
                continue
            voice = voices.get(shape.line)
            if voice is None:
                voice = voices[shape.line] = _Voice()
                self._one_more()
            following = index + 1
            if following < count and notes[following].shape.chord:
                self._strike_chord(voice, measure, start, _chord(notes, index))
            elif shape.plain:
                # Nearly all notes: what ``_strike_chord`` does, without its questions.
                note = (
                    place,
                    place,
                    pitch,
                    measure,
                    offset,
                    onset,
                    duration,
                    shape.grace,
                    bool(voice.open_slurs),
                    voice.breath,
                    shape.ornaments,
                    shape.printed,
                    shape.inside,
                )
                voice.breath = False
                voice.ranks[0].append(make(Note, note))
            else:
                self._strike_chord(voice, measure, start, [struck])

    def _strike_chord(self, voice: _Voice, measure: int, start: float, chord: list[Struck]) -> None:
        """A chord (mostly one note) or a rest of one voice."""
        slurred = bool(voice.open_slurs)
        if len(chord) > 1:
            by_height = sorted((each for each in chord if each.shape.pitch), key=_height, reverse=True)
        else:
            by_height = chord
        breath, first = voice.breath, chord[0]
        voice.breath = False
        for rank, (place, shape, offset, duration) in enumerate(by_height):
            pitch = shape.pitch
            if pitch is None:
                self.rests.add((measure, *shape.line))
                # Nothing is slurred over a rest; a slur left open there was never closed.
                voice.open_slurs.clear()
                break
            if rank == len(voice.ranks):
                voice.ranks.append([])
                self._one_more()
            onset = start + offset
            if shape.tied and self._tie_on(voice, pitch.semitone, onset, duration):
                continue
            voice.ranks[rank].append(
                tuple.__new__(
                    Note,
                    (
                        place,
                        first.place,
                        pitch,
                        measure,
                        offset,
                        onset,
                        duration,
                        shape.grace,
                        slurred,
                        breath,
                        shape.ornaments,
                        shape.printed,
                        shape.inside,
                    ),
                )
            )
        for each in chord:
            shape = each.shape
            if shape.slurs_off:
                voice.open_slurs.difference_update(shape.slurs_off)
            if shape.slurs_on:
                voice.open_slurs.update(shape.slurs_on)
            if shape.breath:
                voice.breath = True

    def _one_more(self) -> None:
        """Raises UnreadableScore when there are more players than parts are for."""
        if sum(len(voice.ranks) for voice in self._voices.values()) > MOST_LINES:
            raise UnreadableScore(
                f"it has the music of more than {MOST_LINES} players; export it again, with fewer voices and "
                "smaller chords",
                part=self._part,
            )

    def _tie_on(self, voice: _Voice, semitone: int, onset: float, duration: float) -> bool:
        """Add a tied note's duration to the note it continues. False when there is none: it is struck."""
        others = [other for other in self._voices.values() if other is not voice]
        for candidate in (voice, *others):
            for notes in candidate.ranks:
                if notes and notes[-1].pitch.semitone == semitone and notes[-1].onset <= onset:
                    notes[-1] = notes[-1]._replace(duration=onset + duration - notes[-1].onset)
                    return True
        return False

    def lines(self) -> tuple[Line, ...]:
        """The lines, by staff and voice, the upper note of chords first; empty ones left out."""
        found: list[Line] = []
        for (staff, name), voice in sorted(self._voices.items(), key=_order):
            for rank, notes in enumerate(voice.ranks):
                if notes:
                    found.append(Line(len(found) + 1, name, staff, rank, tuple(notes)))
        return tuple(found)


def _chord(notes: Sequence[Struck], first: int) -> list[Struck]:
    """The chord whose first note is number ``first`` of ``notes``; members nobody plays left out."""
    chord = [notes[first]]
    for struck in notes[first + 1 :]:
        shape = struck.shape
        if not shape.chord:
            break
        if shape.pitch is not None and not shape.cue and not shape.unplayable:
            chord.append(struck)
    return chord


def _height(struck: Struck) -> tuple[int, int]:
    pitch = struck.shape.pitch
    assert pitch is not None
    return pitch.semitone, pitch.diatonic


def _order(item: tuple[tuple[int, str], _Voice]) -> tuple[int, int, str]:
    (staff, voice), _ = item
    return staff, int(voice) if voice.isdecimal() and len(voice) < 4 else 1000, voice
