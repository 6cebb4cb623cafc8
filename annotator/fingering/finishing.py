"""The finished note: what is planned on it, with its flag and its reasons, as values (no words)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from annotator.fingering import intonation, judging
from annotator.fingering.approach import HELD, PASSING, Approach
from annotator.fingering.costing import Costing
from annotator.fingering.intonation import NOT_PULLED
from annotator.fingering.model import Auxiliary, Crossing, Move, Pace, PlayedNote, ReadNote, Slides, Way
from annotator.fingering.ornaments import is_tremolo_start
from annotator.fingering.slides import SlidePlan
from annotator.pitch import Pitch

_NOBODY = PlayedNote(None)


class Situation(NamedTuple):
    """A planned note and all that is said of it depends on: how it is reached and played, from what, to what.

    ``left``, ``way`` and ``after`` are the ways of the note before, the note and the one that follows;
    ``pitch``, ``before`` and ``next`` their pitches as read. ``pace`` from the note before, ``onward`` to the
    next, whose approach is ``next_approach``. ``moved``: the slides are set anew here.
    """

    approach: Approach
    left: Way | None
    way: Way | None
    pitch: Pitch
    before: Pitch | None
    pace: Pace | None
    moved: bool
    trouble: str
    next_approach: Approach | None
    after: Way | None
    next: Pitch | None
    onward: Pace | None

    @property
    def into(self) -> Move | None:
        """The crossing onto the note."""
        if self.left is None or self.way is None or self.before is None or self.pace is None:
            return None
        return Move(
            *(self.before, self.pitch, self.left, self.way),
            *(self.approach.slurred, self.approach.milliseconds, self.pace),
        )

    @property
    def out(self) -> Move | None:
        """The crossing to the next note."""
        if self.way is None or self.after is None or self.next is None or self.onward is None:
            return None
        if self.next_approach is None:
            return None
        return Move(
            *(self.pitch, self.next, self.way, self.after),
            *(self.next_approach.slurred, self.next_approach.milliseconds, self.onward),
        )


def situation(
    notes: Sequence[ReadNote],
    approaches: Sequence[Approach],
    ways: Sequence[Way | None],
    slides: SlidePlan | None,
    place: int,
) -> Situation:
    """The note at ``place`` of a planned line."""
    after = place + 1
    follows = after < len(notes)
    return Situation(
        approaches[place],
        ways[place - 1] if place else None,
        ways[place],
        notes[place].pitch,
        notes[place - 1].pitch if place else None,
        pace(notes[place - 1], notes[place]) if place else None,
        slides is not None and slides.moved[place],
        slides.trouble[place] if slides is not None else "",
        approaches[after] if follows else None,
        ways[after] if follows else None,
        notes[after].pitch if follows else None,
        pace(notes[place], notes[after]) if follows else None,
    )


def pace(before: ReadNote, note: ReadNote) -> Pace:
    """How fast ``note`` follows ``before``."""
    seconds = round(note.onset - before.onset, 4)
    if is_tremolo_start(before.ornaments):
        return Pace(seconds, round(before.quarters, 4), "tremolo")
    kind = "grace" if before.grace or note.grace else "notes"
    return Pace(seconds, round(before.quarters, 4), kind)


def plain(costing: Costing, left: Way | None, way: Way | None, approach: Approach) -> PlayedNote | None:
    """The finished note where nothing is to be said of it, or None where something may be."""
    if way is None:
        return _NOBODY
    if way.place or approach.others:
        return None
    if left is not None and judging.grade_of(costing, judging.severity(costing, left, way, approach)):
        return None
    return _played(costing, way, approach)


def finished(costing: Costing, at: Situation) -> PlayedNote:
    """The finished note, with flag and reasons."""
    way, approach = at.way, at.approach
    if way is None:
        return _NOBODY
    into = at.into
    flag = judging.crossing_flag(costing, into, approach) if into is not None else None
    trill = judging.trill_flag(costing, at.pitch, way, approach.others)
    found = _played(costing, way, approach, judging.both(flag, trill))
    slides = found.slides
    departure = judging.departure(costing, at.pitch, way, approach, (into, at.out)) if way.place else None
    return PlayedNote(
        found.fingering,
        found.alternates,
        found.crossing,
        departure,
        Slides(
            *(slides.first, slides.third, slides.wanted, slides.cents_left),
            *(at.moved, slides.matters, at.trouble if approach.length != PASSING else ""),
        ),
        found.auxiliaries,
        found.held,
    )


def _played(costing: Costing, way: Way, approach: Approach, crossing: Crossing | None = None) -> PlayedNote:
    setting = approach.slides or NOT_PULLED
    auxiliaries = []
    for other in approach.others:
        best = costing.best_neighbour(way, other)[1]
        left = costing.cents_left(best, setting) if best is not None else 0.0
        auxiliaries.append(Auxiliary(other.pitch, best.fingering if best else None, other.side, left))
    offered = costing.offered(way.semitone)
    held = costing.held.get(way.semitone) if approach.length == HELD and not way.place else None
    slides = Slides(
        *setting,
        intonation.wanted(way, costing.instrument, costing.pull_from) if costing.slid(way) else 0.0,
        costing.cents_left(way, setting),
        matters=approach.length == HELD,
    )
    alternates = tuple(item.fingering for item in offered if item is not way)
    return PlayedNote(way.fingering, alternates, crossing, None, slides, tuple(auxiliaries), held)
