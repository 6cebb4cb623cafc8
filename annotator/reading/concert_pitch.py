"""Does a file that names a crook, and has no transpose element, hold written or sounding pitches?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from annotator.instruments.natural import natural_partial as partial_as_written
from annotator.reading.crooks import Crook
from annotator.reading.inference import ENOUGH, NEARLY_ALL, natural_partial
from annotator.score.model import Part

_AT_CONCERT_PITCH = 0.2  # by this share more notes must be natural as sounding than as written


@dataclass(frozen=True, slots=True)
class Shares:
    """The share (0–1) of notes that are natural partials, read in the two ways."""

    notes: int
    as_written: float
    as_sounding: float


def is_at_concert_pitch(shares: Shares) -> bool:
    """The notes are natural partials of the crook named as they stand, and clearly not as written."""
    return (
        shares.notes >= ENOUGH
        and shares.as_sounding >= NEARLY_ALL
        and shares.as_sounding - shares.as_written >= _AT_CONCERT_PITCH
    )


def natural_shares(part: Part, crooks: Sequence[tuple[float, Crook]]) -> Shares:
    """How natural the notes are, read in the two ways; ``crooks`` are in force from these positions."""
    notes = written = sounding = 0
    starts = [position for position, _ in crooks]
    for line in part.lines:
        index = 0
        for note in line.notes:
            while index + 1 < len(starts) and starts[index + 1] <= note.onset:
                index += 1
            semitone = note.pitch.semitone
            notes += 1
            written += partial_as_written(semitone) is not None
            sounding += natural_partial(semitone, crooks[index][1]) is not None
    return Shares(notes, written / max(notes, 1), sounding / max(notes, 1))
