"""Which crook a part encoded at concert pitch was written for: the natural partials tell.

A natural trumpet plays the partials of its tube and nothing else. So of the crooks, the one is meant
under which nearly every note is such a partial. Inference names a crook; it never moves a pitch.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from operator import attrgetter

from annotator.instruments.natural import natural_partial as partial_as_written
from annotator.keys import read_key
from annotator.pitch import Pitch, transpose
from annotator.reading.crooks import CROOKS, Crook
from annotator.score.model import Part

_PITCH = attrgetter("pitch")
NEARLY_ALL = 0.95  # of the notes must be natural for a crook to be named
CLEARLY = 0.05  # is how far the runner-up must stay behind
ENOUGH = 8  # notes are needed
DIFFERENT = 3  # pitches are needed
AT_HOME = 0.4  # of a natural trumpet's notes at least are of its triad; a tune in C has far fewer of G's
_TRIAD = {2, 3, 4, 5, 6, 8, 10, 12, 16}  # partials


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


def infer(pitches: Iterable[Pitch], fifths: int = 0) -> Inference:
    """The crook for notes of these sounding pitches.

    Where several crooks fit about as well, a key signature of ``fifths`` sharps (negative: flats) settles
    it in favour of the crook that is the tonic: parts for natural trumpets stand in its key. None (0) does
    not, since a file without a key signature says nothing.
    """
    counts = Counter(pitches)
    total = sum(counts.values())
    if not total:
        return Inference(None, None, 0.0, None, 0.0, 0, (), "can't tell: there are no notes")
    sounds: Counter[int] = Counter()
    for pitch, times in counts.items():
        sounds[pitch.semitone] += times
    natural = {
        crook: sum(times for sound, times in sounds.items() if natural_partial(sound, crook) is not None)
        for crook in CROOKS
        if crook.infer
    }
    ranked = sorted(natural, key=lambda crook: -natural[crook])
    fit = [crook for crook in ranked if (natural[ranked[0]] - natural[crook]) / total < CLEARLY]
    by_key = [crook for crook in fit if fifths and read_key(0, crook.sounding) == fifths]
    best = by_key[0] if by_key else ranked[0]
    runner_up = next(crook for crook in ranked if crook != best)
    shares = (
        f"{natural[best]} of {total} notes are natural partials of a trumpet in {best.name}, "
        f"{natural[runner_up]} of a trumpet in {runner_up.name}"
    )
    why_not = ""
    if natural[best] / total < NEARLY_ALL:
        why_not = "too few notes are natural on any crook"
    elif total < ENOUGH or len(sounds) < DIFFERENT:
        why_not = "too few notes to go by"
    elif len(fit) > 1 and not by_key:
        why_not = "several crooks fit about as well"
    if why_not:
        words = f"can't tell: {why_not} ({shares})"
    else:
        words = f"{shares}, and the key signature is that of {best.name}" if len(fit) > 1 else shares
    return Inference(
        crook=None if why_not else best,
        best=best,
        score=natural[best] / total,
        runner_up=runner_up,
        runner_up_score=natural[runner_up] / total,
        notes=total,
        unnatural=_unnatural(counts, best),
        words=words,
    )


def _unnatural(counts: Counter[Pitch], crook: Crook) -> tuple[tuple[Pitch, int], ...]:
    out = [item for item in counts.items() if natural_partial(item[0].semitone, crook) is None]
    return tuple(sorted(out, key=lambda item: (-item[1], item[0].semitone)))


def sounding_pitches(part: Part, crooks: Sequence[tuple[float, Crook]] = ()) -> Iterator[Pitch]:
    """The notes of a part as they sound, all lines one after the other.

    ``crooks``: the positions from which the part is in a crook; without any it sounds as written.
    """
    if not crooks:
        for line in part.lines:
            yield from map(_PITCH, line.notes)
        return
    starts = [position for position, _ in crooks]
    for line in part.lines:
        for note in line.notes:
            index = bisect_right(starts, note.onset) - 1
            yield transpose(note.pitch, crooks[max(index, 0)][1].sounding)


def infer_part(
    part: Part, crooks: Sequence[tuple[float, Crook]] = (), section: Sequence[Part] = ()
) -> Inference:
    """The crook the notes of a part tell, as they sound.

    ``crooks`` as in ``sounding_pitches``. ``section``: the other trumpet parts of the score, which also
    sound as written; where one part can't tell, all of them together may.
    """
    key = {key.fifths for key in part.keys}
    fifths = key.pop() if len(key) == 1 and not crooks else 0
    own = infer(sounding_pitches(part, crooks), fifths)
    if own.crook is not None or own.score < NEARLY_ALL or not section:
        return own
    together = infer(pitch for each in section for pitch in sounding_pitches(each))
    if together.crook is None:
        return own
    score = infer_share(part, together.crook)
    if score < NEARLY_ALL:
        return own
    return replace(
        own,
        crook=together.crook,
        best=together.crook,
        score=score,
        runner_up=own.best if own.best != together.crook else own.runner_up,
        runner_up_score=own.score if own.best != together.crook else own.runner_up_score,
        unnatural=_unnatural(Counter(sounding_pitches(part)), together.crook),
        words=f"this part alone {own.words}; the trumpets of the score together: {together.words}",
    )


def infer_share(part: Part, crook: Crook) -> float:
    """The share (0–1) of a part's notes, sounding as written, that are natural partials of ``crook``."""
    natural = [natural_partial(pitch.semitone, crook) is not None for pitch in sounding_pitches(part)]
    return sum(natural) / len(natural) if natural else 0.0


def is_at_home(part: Part, crook: Crook) -> bool:
    """Whether enough of a part's notes, sounding as written, are of the triad of ``crook``, as fanfares are.

    The triads of the trumpets of Bach's chorales in music21's corpus make 52 to 100 % of their notes
    [measured]; high up, where partials lie a tone apart, any tune is natural on some crook.
    """
    partials = [natural_partial(pitch.semitone, crook) for pitch in sounding_pitches(part)]
    return sum(partial in _TRIAD for partial in partials) >= AT_HOME * len(partials)
