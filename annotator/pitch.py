"""Spelled pitches and intervals: the two numbers MusicXML's ``<transpose>`` holds.

A pitch is what stands on the page (F♯4 is not G♭4). An interval has a diatonic and a chromatic
component, both signed, so that transposing keeps the spelling.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

STEPS = "CDEFGAB"
STEP_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
STEP_INDEX = {step: index for index, step in enumerate(STEPS)}

_NAME = re.compile(r"([A-G])(#{0,4}|b{0,4})(-?\d+)\Z")


@dataclass(frozen=True, slots=True)
class Interval:
    """A signed interval: ``diatonic`` steps and ``chromatic`` semitones (up a major third: 2, 4)."""

    diatonic: int
    chromatic: int

    def __neg__(self) -> Interval:
        return Interval(-self.diatonic, -self.chromatic)

    def __add__(self, other: Interval) -> Interval:
        return Interval(self.diatonic + other.diatonic, self.chromatic + other.chromatic)

    def __sub__(self, other: Interval) -> Interval:
        return Interval(self.diatonic - other.diatonic, self.chromatic - other.chromatic)


UNISON = Interval(0, 0)
OCTAVE = Interval(7, 12)


class Pitch(NamedTuple):
    """A spelled pitch. ``alter`` in semitones, ``octave`` of middle C is 4 (scientific).

    A tuple, since pitches are looked up in tables for every note.
    """

    step: str
    alter: int
    octave: int

    @property
    def name(self) -> str:
        """``F#4``, ``Bb3``: sharps as ``#``, flats as ``b``."""
        sign = "#" * self.alter if self.alter > 0 else "b" * -self.alter
        return f"{self.step}{sign}{self.octave}"

    @property
    def semitone(self) -> int:
        """Semitones above C−1, so that C4 = 60 (the numbering of the MIDI standard)."""
        return (self.octave + 1) * 12 + STEP_SEMITONES[STEP_INDEX[self.step]] + self.alter

    @property
    def diatonic(self) -> int:
        """Staff steps above C0: C4 = 28, D4 = 29."""
        return self.octave * 7 + STEP_INDEX[self.step]

    @classmethod
    def parse(cls, name: str) -> Pitch:
        """The pitch called ``name`` (``F#4``). Raises ValueError when it is no such name."""
        match = _NAME.match(name)
        if match is None:
            raise ValueError(f"{name!r} is not a pitch name like F#4 or Bb3")
        step, signs, octave = match.groups()
        alter = len(signs) if signs.startswith("#") else -len(signs)
        return cls(step, alter, int(octave))


# How the twelve are spelled where nothing else decides: the signs most often met in parts (common practice,
# no source).
_USUAL = tuple(zip("CCDEEFFGAABB", (0, 1, 0, -1, 0, 0, 1, 0, -1, 0, -1, 0), strict=True))


def spelled(semitone: int) -> Pitch:
    """The pitch of a semitone (C4 = 60), spelled as is usual: C♯ E♭ F♯ A♭ B♭."""
    octave, step = divmod(semitone, 12)
    return Pitch(*_USUAL[step], octave - 1)


@lru_cache(maxsize=16384)
def transpose(pitch: Pitch, interval: Interval) -> Pitch:
    """``pitch`` moved by ``interval``, spelled by the diatonic component.

    The accidental may become double or more; respelling is a decision of the reader, not of
    arithmetic (see ``annotator.reading``).
    """
    octave, index = divmod(pitch.diatonic + interval.diatonic, 7)
    natural = (octave + 1) * 12 + STEP_SEMITONES[index]
    return Pitch(STEPS[index], pitch.semitone + interval.chromatic - natural, octave)
