"""Note heads gathered into lines: one for each player a part asks for."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import NamedTuple

from annotator.score.model import Head, Line, Note
from annotator.score.shapes import NoteShape


class Struck(NamedTuple):
    """A ``<note>`` just read: its number in the file, what it says, and when (quarters in the measure)."""

    place: int
    shape: NoteShape
    onset: float
    duration: float


@dataclass(slots=True)
class _Voice:
    """What a voice remembers from note to note."""

    ranks: list[list[Note]] = field(default_factory=list)
    open_slurs: set[str] = field(default_factory=set)
    breath: bool = False
    chord: list[Struck] = field(default_factory=list)


class LineBuilder:
    """Takes notes as they come in the file; ``lines()`` gives the players' lines."""

    def __init__(self) -> None:
        self.heads: list[Head] = []
        self.lyric_numbers: set[str] = set()
        self._voices: dict[tuple[int, str], _Voice] = {}
        self._current: _Voice | None = None
        self._measure = 0
        self._start = 0.0

    def begin_measure(self, measure: int, start: float) -> None:
        """The notes that follow are in ``measure``, which starts at ``start`` quarters."""
        self._flush()
        self._measure, self._start = measure, start

    def add(self, struck: Struck) -> None:
        """Take one note or rest."""
        place, shape, onset, _ = struck
        pitch = shape.pitch
        if shape.lyrics:
            self.lyric_numbers.update(shape.lyrics)
        if pitch is not None:
            self.heads.append(
                Head(place, pitch, self._measure, self._start + onset, shape.staff, shape.tied, shape.cue)
            )
        voice = self._current
        if shape.chord and voice is not None:
            if pitch is not None and not shape.cue:
                voice.chord.append(struck)
            return
        if voice is not None:
            self._flush()
        if shape.cue or shape.unplayable:
            return
        key = (shape.staff, shape.voice)
        voice = self._voices.get(key)
        if voice is None:
            voice = self._voices[key] = _Voice()
        voice.chord = [struck]
        self._current = voice

    def _flush(self) -> None:
        """The chord (mostly one note) that the current voice holds is complete."""
        voice = self._current
        if voice is None:
            return
        self._current = None
        chord = voice.chord
        pitched = [struck for struck in chord if struck.shape.pitch is not None]
        if len(pitched) > 1:
            pitched.sort(key=_height, reverse=True)
        slurred = bool(voice.open_slurs)
        for rank, struck in enumerate(pitched):
            if rank == len(voice.ranks):
                voice.ranks.append([])
            self._strike(voice, voice.ranks[rank], struck, slurred)
        voice.breath = False
        for struck in chord:
            shape = struck.shape
            if shape.slurs_off:
                voice.open_slurs.difference_update(shape.slurs_off)
            if shape.slurs_on:
                voice.open_slurs.update(shape.slurs_on)
            voice.breath = voice.breath or shape.breath
        if not pitched and voice.open_slurs:
            # Nothing is slurred over a rest; a slur left open there was never closed.
            voice.open_slurs.clear()

    def _strike(self, voice: _Voice, notes: list[Note], struck: Struck, slurred: bool) -> None:
        place, shape, offset, duration = struck
        assert shape.pitch is not None
        onset = self._start + offset
        if shape.tied and self._tie_on(voice, shape.pitch.semitone, onset, duration):
            return
        notes.append(
            Note(
                place,
                voice.chord[0].place,
                shape.pitch,
                self._measure,
                offset,
                onset,
                duration,
                shape.grace,
                slurred,
                voice.breath,
                shape.ornaments,
                shape.printed,
                shape.inside,
            )
        )

    def _tie_on(self, voice: _Voice, semitone: int, onset: float, duration: float) -> bool:
        """Add a tied note's duration to the note it continues. False when there is none: it is struck."""
        others = [other for other in self._voices.values() if other is not voice]
        for candidate in (voice, *others):
            for notes in candidate.ranks:
                if notes and notes[-1].pitch.semitone == semitone and notes[-1].onset <= onset:
                    last = notes[-1]
                    notes[-1] = replace(last, duration=onset + duration - last.onset)
                    return True
        return False

    def lines(self) -> tuple[Line, ...]:
        """The lines, by staff and voice, the upper note of chords first; empty ones left out."""
        self._flush()
        found: list[Line] = []
        for (staff, name), voice in sorted(self._voices.items(), key=_order):
            for rank, notes in enumerate(voice.ranks):
                if notes:
                    found.append(Line(len(found) + 1, name, staff, rank, tuple(notes)))
        return tuple(found)


def _height(struck: Struck) -> tuple[int, int]:
    pitch = struck.shape.pitch
    assert pitch is not None
    return pitch.semitone, pitch.diatonic


def _order(item: tuple[tuple[int, str], _Voice]) -> tuple[int, int, str]:
    (staff, voice), _ = item
    return staff, int(voice) if voice.isdigit() else 1000, voice
