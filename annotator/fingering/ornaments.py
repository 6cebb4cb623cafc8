"""The other notes of an ornament: which they are, and what moves when the part is read transposed."""

from __future__ import annotations

from dataclasses import dataclass, replace

from annotator.keys import alters_of_key
from annotator.pitch import STEPS, Pitch
from annotator.score.model import Ornament

_WIDEST = 2

# MusicXML's ornaments and the notes they touch beside the main one. A mordent (with the stroke) goes to
# the lower neighbour, an inverted mordent to the upper: MusicXML 4.0, elements mordent and inverted-mordent.
_SIDES = {
    "trill-mark": ("above",),
    "shake": ("above",),
    "mordent": ("below",),
    "inverted-mordent": ("above",),
    "turn": ("above", "below"),
    "inverted-turn": ("below", "above"),
    "delayed-turn": ("above", "below"),
    "delayed-inverted-turn": ("below", "above"),
    "vertical-turn": ("above", "below"),
    "inverted-vertical-turn": ("below", "above"),
}
_LONG = frozenset({"trill-mark", "shake"})


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A note that an ornament touches: its pitch, ``above`` or ``below``, and whether it is trilled on."""

    pitch: Pitch
    side: str
    trilled: bool


def neighbours(pitch: Pitch, fifths: int, ornaments: tuple[Ornament, ...]) -> tuple[Neighbour, ...]:
    """The other notes of the ornaments on ``pitch`` in the key of ``fifths`` sharps (negative: flats).

    An accidental with the ornament decides; else the key signature does, kept within a half or
    whole tone where an accidental on the main note would make it anything else.
    """
    found: dict[str, Neighbour] = {}
    for ornament in ornaments:
        for side in _SIDES.get(ornament.kind, ()):
            alter = ornament.above if side == "above" else ornament.below
            trilled = ornament.kind in _LONG or (side in found and found[side].trilled)
            found[side] = Neighbour(neighbour(pitch, fifths, side, alter), side, trilled)
    return tuple(found.values())


def neighbour(pitch: Pitch, fifths: int, side: str, alter: int | None = None) -> Pitch:
    """The note a step ``above`` or ``below`` ``pitch``; ``alter`` is its printed accidental, if any."""
    direction = 1 if side == "above" else -1
    octave, index = divmod(pitch.diatonic + direction, 7)
    step = STEPS[index]
    if alter is not None:
        return Pitch(step, alter, octave)
    found = Pitch(step, alters_of_key(fifths)[index], octave)
    distance = direction * (found.semitone - pitch.semitone)
    wanted = min(max(distance, 1), _WIDEST)
    return Pitch(step, found.alter + direction * (wanted - distance), octave)


def read_ornament(ornament: Ornament, written: Pitch, fifths: int, read: Pitch) -> Ornament:
    """``ornament`` of the ``written`` note as it is read on the note ``read``, its neighbours named.

    ``fifths`` is the key signature as written. The neighbours are found in the part as it stands and
    carried over by sound, so that they are right where the reader respells or has no key signature.
    """

    def alter(side: str, printed: int | None) -> int | None:
        if side not in _SIDES.get(ornament.kind, ()):
            return printed
        sound = neighbour(written, fifths, side, printed).semitone - written.semitone
        return sound + read.semitone - neighbour(read, 0, side, 0).semitone

    return replace(ornament, above=alter("above", ornament.above), below=alter("below", ornament.below))


def is_tremolo_start(ornaments: tuple[Ornament, ...]) -> bool:
    """Whether a fingered tremolo to the next note begins here."""
    return any(ornament.kind == "tremolo-start" for ornament in ornaments)
