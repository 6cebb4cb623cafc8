"""A score as the rest of the program sees it: parts, lines, notes; no XML.

Positions are in quarter notes, as floats. ``offset`` counts from the start of the measure,
``onset`` and ``position`` from the start of the part (as printed, repeats not unfolded).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from annotator.findings import Finding
from annotator.pitch import Interval, Pitch
from annotator.score.places import NO_PLACE, Inside

SAME_PLACE = 1e-6
"""Quarters: positions nearer than this are the same place (divisions are seldom finer than 1/10,080)."""


class Head(NamedTuple):
    """A note head as printed: what the cue line and the transposed part copy.

    ``place`` as in ``Note``; ``measure`` indexes ``Part.measures``; ``tied``: a tie ends here.
    ``cue``: a cue head, which is somebody else's to play. ``fraction``: semitones above ``pitch``, for
    microtones. A tuple, since a score has more of these than of anything else.
    """

    place: int
    pitch: Pitch
    measure: int
    onset: float
    staff: int
    tied: bool
    cue: bool
    fraction: float = 0.0


@dataclass(frozen=True, slots=True)
class Ornament:
    """An ornament on a note.

    ``kind`` is MusicXML's element name (``trill-mark``, ``mordent``, ``inverted-mordent``, ``turn``,
    ``inverted-turn``, ``shake``, ``tremolo-start``, ``tremolo-stop``, ``tremolo-single``).
    ``above`` and ``below`` are the accidentals printed with it, in semitones (+1 for a sharp,
    0 for a natural).
    """

    kind: str
    above: int | None = None
    below: int | None = None


class Note(NamedTuple):
    """One struck note of a line, ties added up. (A tuple, as ``Head`` is.)

    ``place`` is the number, from 0 in document order, of its ``<note>`` element (of the first one
    of a tied chain), ``chord`` that of the first note of its chord (its own, mostly).
    ``measure`` indexes ``Part.measures``. ``duration`` in quarters includes the
    notes tied on; a grace note has 0. ``slurred``: reached from the previous note of the line under
    a slur. ``breath``: a breath mark or caesura stands before it. ``printed`` holds the fingerings
    that the file already had on the note, as we write them however it spells them; ``inside`` the places for
    marks in its text.
    """

    place: int
    chord: int
    pitch: Pitch
    measure: int
    offset: float
    onset: float
    duration: float
    grace: bool = False
    slurred: bool = False
    breath: bool = False
    ornaments: tuple[Ornament, ...] = ()
    printed: tuple[str, ...] = ()
    inside: Inside = NO_PLACE


@dataclass(frozen=True, slots=True)
class Line:
    """What one player plays: one voice of a part, or one note of each chord in it.

    ``rank`` is 0 for the upper note of chords (and for all single notes), 1 for the next one down.
    ``player`` counts the players of a staff from 1, where the notes were told apart by players: the line
    then goes from voice to voice, and a note for two stands in two lines. 0 elsewhere.
    """

    number: int
    voice: str
    staff: int
    rank: int
    notes: tuple[Note, ...]
    player: int = 0


class Measure(NamedTuple):
    """A measure. ``number`` is the text the file numbers it with; ``start`` and ``length`` in quarters.

    ``beats`` and ``beat_type`` are the time signature in force (4, 4 where the file gives none).
    ``pickup`` quarters are missing at its beginning (an upbeat), so that beats are counted right.
    """

    number: str
    start: float
    length: float
    beats: int = 4
    beat_type: int = 4
    pickup: float = 0.0


@dataclass(frozen=True, slots=True)
class Key:
    """A key signature: ``fifths`` sharps (negative: flats), from ``position`` on.

    ``staff``: the one it is for, 0 for all.
    """

    position: float
    measure: int
    fifths: int
    mode: str = ""
    staff: int = 0


def key_at(keys: Sequence[Key], position: float) -> int | None:
    """The fifths in force at ``position`` by ``keys`` in order of position, None before the first of them."""
    at = bisect_right(keys, position + SAME_PLACE, key=_position)
    return keys[at - 1].fifths if at else None


def _position(key: Key) -> float:
    return key.position


@dataclass(frozen=True, slots=True)
class Clef:
    """A clef: ``sign`` (G, F, C, …) on ``line``, ``octave_change`` in octaves, from ``position`` on."""

    position: float
    measure: int
    sign: str
    line: int
    octave_change: int = 0
    staff: int = 1


@dataclass(frozen=True, slots=True)
class Transposition:
    """A ``<transpose>``: sounding minus written, octave change added in.

    ``staff``: the one it is for (MusicXML 4.0: ``number``, "if absent, the transposition applies to all
    staves in the part"), 0 for all.
    """

    position: float
    measure: int
    interval: Interval
    staff: int = 0


@dataclass(frozen=True, slots=True)
class Words:
    """Words printed at a place of the part (direction words), as one string.

    ``staff``: the one they are for, 0 where the file does not say.
    """

    position: float
    measure: int
    text: str
    staff: int = 0


@dataclass(frozen=True, slots=True)
class Sound:
    """An ``<instrument-sound>`` or ``<instrument-change>`` of the part, e.g. ``brass.trumpet``."""

    position: float
    measure: int
    name: str


@dataclass(frozen=True, slots=True)
class Tempo:
    """A tempo from ``position`` on.

    ``quarters_per_minute`` from a metronome mark or ``<sound tempo>``; None where only words
    (``text``) were found. ``source`` is ``metronome``, ``sound`` or ``words``.
    """

    position: float
    measure: int
    quarters_per_minute: float | None
    source: str
    text: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """One part. ``headings`` are texts that may name the instrument, outside the music (credits).

    ``printed_names``: its name and abbreviation as they are to be printed, where the file says so.
    ``programs``: the MIDI programs it is played back with, counted from 1.

    ``lines`` hold the struck notes player by player, ``heads`` every pitched note head in document
    order. ``containers`` are the numbers of the part's measures among ``places.Places.containers``.
    ``rests``: where a voice rests, (measure index, staff, voice). ``lyric_numbers`` are those in use.
    ``concert``: the file is a ``<concert-score/>``, every part of which holds the sounding pitches
    (MusicXML 4.0).
    """

    id: str
    name: str
    abbreviation: str = ""
    instrument_names: tuple[str, ...] = ()
    printed_names: tuple[str, ...] = ()
    programs: tuple[str, ...] = ()
    headings: tuple[str, ...] = ()
    measures: tuple[Measure, ...] = ()
    lines: tuple[Line, ...] = ()
    keys: tuple[Key, ...] = ()
    transpositions: tuple[Transposition, ...] = ()
    words: tuple[Words, ...] = ()
    sounds: tuple[Sound, ...] = ()
    heads: tuple[Head, ...] = ()
    rests: frozenset[tuple[int, int, str]] = frozenset()
    containers: tuple[int, ...] = ()
    clefs: tuple[Clef, ...] = ()
    lyric_numbers: frozenset[str] = frozenset()
    concert: bool = False
    warnings: tuple[Finding, ...] = ()

    def measure_number(self, index: int) -> str:
        """What the file numbers a measure with, by its index."""
        return self.measures[index].number if 0 <= index < len(self.measures) else str(index + 1)


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A part that is not read, as far as the others want to know of it.

    ``fifths`` is the key signature it begins with, ``interval`` its ``<transpose>``; None where it has none.
    """

    id: str
    name: str
    fifths: int | None = None
    interval: Interval | None = None


@dataclass(frozen=True, slots=True)
class Score:
    """A file: the trumpet parts that were asked for, the ``others``, and what belongs to the whole.

    ``software``: the programs that the file says wrote it, the first one first.
    """

    title: str = ""
    parts: tuple[Part, ...] = ()
    tempos: tuple[Tempo, ...] = ()
    warnings: tuple[Finding, ...] = ()
    others: tuple[Neighbour, ...] = ()
    software: tuple[str, ...] = ()
