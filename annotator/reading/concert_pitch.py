"""Does a file that names a crook, and has no transpose element, hold written or sounding pitches?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from annotator.findings import Finding
from annotator.instruments.natural import natural_partial as partial_as_written
from annotator.reading.crooks import C, Crook
from annotator.reading.evidence import number_of
from annotator.reading.inference import ENOUGH, NEARLY_ALL, natural_partial
from annotator.reading.model import Stage
from annotator.score.model import Part

_AT_CONCERT_PITCH = 0.2  # by this share more notes must be natural as sounding than as written


@dataclass(frozen=True, slots=True)
class _Shares:
    """The share (0–1) of notes that are natural partials, read in the two ways."""

    notes: int
    as_written: float
    as_sounding: float


def written_or_sounding(part: Part, stages: Sequence[Stage]) -> tuple[tuple[Stage, ...], Finding]:
    """The stages of a part that names crooks and has no transpose element, and what was decided.

    In a ``<concert-score/>`` the pitches are the sounding ones. Elsewhere the words are believed, since
    the player reads the page, unless the notes are natural partials of the crook as they stand and
    clearly not as written.
    """
    label = next(stage.evidence for stage in stages if stage.named and stage.crook != C)
    shares = _natural_shares(part, [(stage.position, stage.crook) for stage in stages])
    if not part.concert and not _is_at_concert_pitch(shares):
        message = (
            f"{label} names a crook, and the file has no transpose element, so by itself it sounds as "
            "written; the words were believed, since the player reads the page. If the file holds "
            "sounding pitches, set the crook to C"
        )
        return tuple(stages), Finding("no-transpose", message, part.id, number_of(part, 0))
    if part.concert:
        why = "the file says it is a score at concert pitch"
    else:
        why = (
            f"{shares.as_sounding:.0%} of its notes are natural partials as they stand, and "
            f"{shares.as_written:.0%} if they were written for the crook"
        )
    message = (
        f"{label} names a crook, and there is no transpose element; the file was read as holding the "
        f"sounding pitches already: {why}. If it holds written pitches, set the crook"
    )
    sounding = tuple(
        replace(
            stage, crook=C, natural=stage.crook, evidence=f"{stage.evidence}; at concert pitch, since {why}"
        )
        for stage in stages
    )
    return sounding, Finding("concert-pitch", message, part.id, number_of(part, 0))


def _is_at_concert_pitch(shares: _Shares) -> bool:
    return (
        shares.notes >= ENOUGH
        and shares.as_sounding >= NEARLY_ALL
        and shares.as_sounding - shares.as_written >= _AT_CONCERT_PITCH
    )


def _natural_shares(part: Part, crooks: Sequence[tuple[float, Crook]]) -> _Shares:
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
    return _Shares(notes, written / max(notes, 1), sounding / max(notes, 1))
