"""Note heads gathered into lines: one for each player a part asks for."""

from __future__ import annotations

from dataclasses import dataclass, field

from annotator.findings import Finding
from annotator.pitch import Pitch
from annotator.score.model import Head, Line, Note, Ornament


@dataclass(slots=True)
class Struck:
    """A ``<note>`` just read. ``pitch`` is None for rests, unpitched and microtonal notes."""

    place: int
    pitch: Pitch | None
    onset: float
    duration: float
    voice: str
    staff: int
    chord: bool
    grace: bool
    cue: bool
    tied: bool
    tied_on: bool
    breath: bool = False
    slurs_on: list[str] = field(default_factory=list)
    slurs_off: list[str] = field(default_factory=list)
    printed: tuple[str, ...] = ()
    ornaments: tuple[Ornament, ...] = ()


@dataclass(slots=True)
class _Voice:
    """What a voice remembers from note to note."""

    name: str
    staff: int
    ranks: list[list[Note]] = field(default_factory=list)
    open_slurs: set[str] = field(default_factory=set)
    breath: bool = False
    chord: list[Struck] = field(default_factory=list)
    measure: int = 0
    start: float = 0.0


class LineBuilder:
    """Takes notes as they come in the file; ``lines()`` gives the players' lines."""

    def __init__(self, part: str) -> None:
        self.part = part
        self.heads: list[Head] = []
        self.findings: list[Finding] = []
        self.lyric_numbers: set[str] = set()
        self._voices: dict[tuple[int, str], _Voice] = {}
        self._current: _Voice | None = None
        self._measure = 0
        self._start = 0.0

    def begin_measure(self, measure: int, start: float) -> None:
        """The notes that follow are in ``measure``, which starts at ``start`` quarters."""
        self._flush()
        self._measure, self._start = measure, start

    def add(self, struck: Struck, *, unpitched: bool = False) -> None:
        """Take one note or rest."""
        if struck.pitch is not None:
            self.heads.append(
                Head(
                    struck.place,
                    struck.pitch,
                    self._measure,
                    self._start + struck.onset,
                    struck.staff,
                    struck.tied,
                    struck.cue,
                )
            )
        if struck.chord and self._current is not None:
            if struck.pitch is not None and not struck.cue:
                self._current.chord.append(struck)
            return
        self._flush()
        if struck.cue or unpitched:
            return
        key = (struck.staff, struck.voice)
        voice = self._voices.get(key)
        if voice is None:
            voice = self._voices[key] = _Voice(struck.voice, struck.staff)
        voice.measure, voice.start = self._measure, self._start
        voice.chord = [struck]
        self._current = voice

    def _flush(self) -> None:
        voice = self._current
        if voice is None:
            return
        self._current = None
        chord = voice.chord
        if len(chord) > 1:
            pitched = [struck for struck in chord if struck.pitch is not None]
            pitched.sort(key=_height, reverse=True)
        else:
            pitched = chord if chord[0].pitch is not None else []
        slurred = bool(voice.open_slurs)
        for rank, struck in enumerate(pitched):
            if rank == len(voice.ranks):
                voice.ranks.append([])
            self._strike(voice, voice.ranks[rank], struck, slurred)
        for struck in chord:
            if struck.slurs_off:
                voice.open_slurs.difference_update(struck.slurs_off)
            if struck.slurs_on:
                voice.open_slurs.update(struck.slurs_on)
        if not pitched:
            # Nothing is slurred over a rest; a slur left open there was never closed.
            voice.open_slurs.clear()
        voice.breath = any(struck.breath for struck in chord)

    def _strike(self, voice: _Voice, notes: list[Note], struck: Struck, slurred: bool) -> None:
        assert struck.pitch is not None
        onset = voice.start + struck.onset
        if struck.tied and self._tie_on(voice, struck, onset):
            return
        notes.append(
            Note(
                struck.place,
                voice.chord[0].place,
                struck.pitch,
                voice.measure,
                struck.onset,
                onset,
                struck.duration,
                struck.grace,
                slurred,
                voice.breath,
                struck.ornaments,
                struck.printed,
            )
        )

    def _tie_on(self, voice: _Voice, struck: Struck, onset: float) -> bool:
        """Add a tied note's duration to the note it continues. False when there is none: it is struck."""
        assert struck.pitch is not None
        semitone = struck.pitch.semitone
        others = [other for other in self._voices.values() if other is not voice]
        for candidate in (voice, *others):
            for notes in candidate.ranks:
                if notes and notes[-1].pitch.semitone == semitone and notes[-1].onset <= onset:
                    last = notes[-1]
                    notes[-1] = Note(
                        last.place,
                        last.chord,
                        last.pitch,
                        last.measure,
                        last.offset,
                        last.onset,
                        onset + struck.duration - last.onset,
                        last.grace,
                        last.slurred,
                        last.breath,
                        last.ornaments or struck.ornaments,
                        last.printed,
                    )
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
    assert struck.pitch is not None
    return struck.pitch.semitone, struck.pitch.diatonic


def _order(item: tuple[tuple[int, str], _Voice]) -> tuple[int, int, str]:
    (staff, voice), _ = item
    return staff, int(voice) if voice.isdigit() else 1000, voice
