"""Which crook a part encoded at concert pitch was written for: the natural partials tell.

A natural trumpet plays the partials of its tube and nothing else. So of the crooks, the one is meant
under which nearly every note is such a partial. Inference names a crook; it never moves a pitch.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from annotator.instruments.natural import natural_partial as partial_as_written
from annotator.pitch import Pitch, transpose
from annotator.reading.crooks import CROOKS, Crook
from annotator.score.model import Part

NEARLY_ALL = 0.95  # of the notes must be natural for a crook to be named
CLEARLY = 0.05  # is how far the runner-up must stay behind
ENOUGH = 8  # notes, of at least three pitches


def natural_partial(sounding_semitone: int, crook: Crook) -> int | None:
    """The partial (2–16) of a natural trumpet with ``crook`` that sounds this, or None.

    ``sounding_semitone``: semitones above C−1, C4 = 60.
    """
    return partial_as_written(sounding_semitone - crook.sounding.chromatic)


@dataclass(frozen=True, slots=True)
class Inference:
    """What the notes say about the crook.

    ``crook`` is None where they can't tell, and ``words`` says why. ``best`` and ``runner_up`` are
    the two crooks with the highest ``score`` and ``runner_up_score`` (share of notes that are
    natural partials, 0–1). ``notes`` were looked at; ``unnatural`` are the pitches, sounding, that are
    no natural partial of ``best``, with how often they come.
    """

    crook: Crook | None
    best: Crook | None
    score: float
    runner_up: Crook | None
    runner_up_score: float
    notes: int
    unnatural: tuple[tuple[Pitch, int], ...]
    words: str


def infer(pitches: Iterable[Pitch]) -> Inference:
    """The crook for notes of these sounding pitches."""
    counts = Counter(pitches)
    total = sum(counts.values())
    if not total:
        return Inference(None, None, 0.0, None, 0.0, 0, (), "can't tell: there are no notes")
    sounds: Counter[int] = Counter()
    for pitch, times in counts.items():
        sounds[pitch.semitone] += times
    ranked = sorted(
        ((sum(times for sound, times in sounds.items() if natural_partial(sound, crook) is not None), crook)
         for crook in CROOKS if crook.infer),
        key=lambda row: -row[0],
    )  # fmt: skip
    (natural, best), (second, runner_up) = ranked[0], ranked[1]
    score, runner_up_score = natural / total, second / total
    unnatural = tuple(
        sorted(
            (
                (pitch, times)
                for pitch, times in counts.items()
                if natural_partial(pitch.semitone, best) is None
            ),
            key=lambda row: (-row[1], row[0].semitone),
        )
    )
    shares = (
        f"{natural} of {total} notes are natural partials of a trumpet in {best.name}, "
        f"{second} of one in {runner_up.name}"
    )
    why_not = ""
    if score < NEARLY_ALL:
        why_not = "too few notes are natural on any crook"
    elif total < ENOUGH or len(sounds) < 3:
        why_not = "too few notes to go by"
    elif score - runner_up_score < CLEARLY:
        why_not = "two crooks fit about as well"
    words = f"can't tell: {why_not} ({shares})" if why_not else shares
    return Inference(
        None if why_not else best, best, score, runner_up, runner_up_score, total, unnatural, words
    )


def infer_part(part: Part, crooks: Sequence[tuple[float, Crook]] = ()) -> Inference:
    """The crook the notes of a part tell, as they sound.

    ``crooks``: the positions from which the part is in a crook; without any it sounds as written.
    """
    starts = [position for position, _ in crooks]
    pitches: list[Pitch] = []
    for line in part.lines:
        for note in line.notes:
            index = bisect_right(starts, note.onset) - 1
            pitches.append(transpose(note.pitch, crooks[index][1].sounding) if index >= 0 else note.pitch)
    return infer(pitches)
