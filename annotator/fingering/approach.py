"""How each note of a line is reached: the one value that costs are made from, and looked up by.

Costs know notes by their ``Approach`` alone. So whatever a cost depends on is in it, and what the planner
remembers under an approach cannot be wrong for another.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from annotator.fingering.model import ReadNote
from annotator.fingering.ornaments import Neighbour, is_tremolo_start, neighbours
from annotator.pitch import Pitch

PASSING, SETTLED, HELD = range(3)
"""Lengths of a note: over before the lip has settled it, settled, held long enough to be listened to."""
ALTERNATING, TREMOLO = 1, 2


class Approach(NamedTuple):
    """A note and how it is reached, all that costs depend on beside the ways of playing it.

    ``semitone`` of the note. ``milliseconds`` from the onset before, as ``Measures.grid`` rounds them;
    None where the line breaks (no crossing). ``length``: ``PASSING``, ``SETTLED`` or ``HELD``.
    ``came``: the same pitch stands in the figure before it, other notes between; ``returns``: it comes
    again. ``turned``: one of two notes played in turn, slurred (``ALTERNATING``, ``TREMOLO``), or 0.
    ``others``: the other notes of its ornaments. ``slides``: where the hand slides stand (first and
    third, millimetres), or None while that is open.
    """

    semitone: int
    milliseconds: int | None
    slurred: bool
    length: int
    came: bool = False
    returns: bool = False
    turned: int = 0
    others: tuple[Neighbour, ...] = ()
    slides: tuple[int, int] | None = None

    @property
    def trilled(self) -> bool:
        return any(other.trilled for other in self.others)


@dataclass(frozen=True, slots=True)
class Measures:
    """The times by which approaches differ, of a profile. Seconds, and ``longest`` in milliseconds.

    ``grid``: for each millisecond the longest time that costs the same. ``settle`` and ``hold``: from
    where a note is settled and held; ``grace``: what a grace note takes at most; ``tremolo``: between
    the notes of a tremolo. ``has_choice``: whether a pitch can be played in more ways than one.
    """

    longest: int
    grid: tuple[int, ...]
    settle: float
    hold: float
    grace: float
    tremolo: float
    has_choice: Callable[[int], bool]


class _Semitones(dict[Pitch, int]):
    def __missing__(self, pitch: Pitch) -> int:
        self[pitch] = found = pitch.semitone
        return found


_SEMITONES = _Semitones()
_make = tuple.__new__


def approaches(notes: Sequence[ReadNote], measures: Measures) -> list[Approach]:
    """How each note of the line is reached from the one before."""
    found: list[Approach] = []
    keep = found.append
    semitones, grid, longest = _SEMITONES, measures.grid, measures.longest
    settle, hold = measures.settle, measures.hold
    last, special, run = 0.0, True, 0
    # The semitones one, two, three and four notes before, as far as the figure goes back.
    one = two = three = four = -1
    for note in notes:
        pitch, onset, duration, slurred, joined, grace, ornaments, _, _ = note
        semitone = semitones[pitch]
        length = 0 if duration < settle else 1 if duration < hold else 2
        if joined:
            time = int((onset - last) * 1000.0 + 0.5)
            if time >= longest:
                time, one, two, three, four = longest, -1, -1, -1, -1
            elif time < 0:
                time = 0
            approach = _make(Approach, (semitone, grid[time], slurred, length, False, False, 0, (), None))
        else:
            one = two = three = four = -1
            approach = _make(Approach, (semitone, None, False, length, False, False, 0, (), None))
        if special or grace or ornaments:
            before = notes[len(found) - 1] if found else None
            approach = _special(approach, before, note, measures)
            special = grace or bool(ornaments)
        keep(approach)
        if semitone in (two, three, four):
            run = run + 1 if semitone == two and semitone != one and approach.slurred else 0
            if semitone != one and measures.has_choice(semitone):
                back = 2 if semitone == two else 3 if semitone == three else 4
                found[-1 - back] = found[-1 - back]._replace(returns=True)
                found[-1] = approach._replace(came=True)
            if run > 1:
                for place in range(-1 - run if run == 2 else -1, 0):
                    if found[place].slurred and not found[place].turned:
                        found[place] = found[place]._replace(turned=ALTERNATING)
        else:
            run = 0
        last = onset
        four, three, two, one = three, two, one, semitone
    return found


def _special(approach: Approach, before: ReadNote | None, note: ReadNote, measures: Measures) -> Approach:
    """The approach of a note with ornaments or grace, or after one, or at the start."""
    others = neighbours(note.pitch, note.fifths, note.ornaments) if note.ornaments else ()
    if before is None or not note.joined:
        return approach._replace(milliseconds=None, slurred=False, others=others)
    slurred, turned = note.slurred, 0
    seconds = note.onset - before.onset
    if (note.grace or before.grace) and seconds < measures.grace:
        seconds = measures.grace
    if is_tremolo_start(before.ornaments):
        seconds, slurred, turned = min(seconds, measures.tremolo), True, TREMOLO
    milliseconds = measures.grid[min(measures.longest, max(0, int(seconds * 1000 + 0.5)))]
    return approach._replace(milliseconds=milliseconds, slurred=slurred, turned=turned, others=others)
