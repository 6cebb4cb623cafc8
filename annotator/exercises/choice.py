"""Which crossings of a part are worth practising: the flagged ones, worst first; else the busiest moves."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from annotator.deciding import Prepared
from annotator.fingering import Fingering, PlayedNote, load_profile, usual
from annotator.fingering.approach import Approach
from annotator.fingering.costing import Costing, costing_for
from annotator.fingering.crossing import reasons
from annotator.fingering.model import Way
from annotator.fingering.profile import Profile
from annotator.pitch import Pitch
from annotator.played import PlayedLine, PlayedPart
from annotator.score.model import Note

MOST = 6
"""Crossings on one sheet: about as many as an hour's practice has room for (common practice, no source)."""
FEW = 3
"""With fewer flagged crossings than this the busiest other moves fill the sheet up to it."""
LEAST_COST = 0.1
"""Awkwardness below which an unflagged move needs no practice of its own (this program's own choice)."""
_JOINED = 0.02
_TRILL = "trill"


@dataclass(frozen=True, slots=True)
class Place:
    """Where a crossing comes: a line of a part, and the index in it of the note arrived at.

    ``left`` is the index of the note left, the same for a trill.
    """

    part: PlayedPart
    line: PlayedLine
    left: int
    index: int

    @property
    def left_note(self) -> Note:
        return self.line.line.notes[self.left]

    @property
    def note(self) -> Note:
        return self.line.line.notes[self.index]

    @property
    def measure(self) -> str:
        """The measure of the note arrived at, as the file numbers it."""
        return self.part.part.measures[self.note.measure].number


@dataclass(frozen=True, slots=True)
class Practice:
    """A crossing to practise: from ``left`` to ``reached``, pitches as read, with the planned fingerings.

    ``grade`` is 0 for a move that is not flagged. ``cost`` in awkwardness. ``other`` is another pair of
    fingerings worth trying (what the report offers ``instead``, or the usual chart where the plan departs
    from it), or None, and ``other_words`` says so. ``places`` are all places it comes at, the worst first.
    """

    left: Pitch
    reached: Pitch
    ways: tuple[Fingering, Fingering]
    grade: int
    cost: float
    reasons: tuple[str, ...]
    slurred: bool
    places: tuple[Place, ...]
    other: tuple[Fingering, Fingering] | None = None
    other_words: str = ""

    @property
    def trill(self) -> bool:
        return self.places[0].left == self.places[0].index


def choose(prepared: Prepared, profile: Profile | str = "orchestral") -> tuple[Practice, ...]:
    """What to practise, worst first: by grade, then by how often it comes, then by cost.

    The same two notes with the same fingerings are one crossing. Where few are flagged, the busiest other
    moves of the part follow (grade 0); empty when none of them costs anything to speak of.
    """
    flagged = _gathered(_flagged(prepared))[:MOST]
    if len(flagged) >= FEW:
        return flagged
    costing = costing_for(prepared.instrument, load_profile(profile) if isinstance(profile, str) else profile)
    known = {(item.left, item.reached) for item in flagged}
    others = [
        item for item in _gathered(_unflagged(prepared, costing)) if (item.left, item.reached) not in known
    ]
    others.sort(key=lambda item: -item.cost)
    return (*flagged, *others[: FEW - len(flagged)])


def _gathered(found: Iterator[Practice]) -> tuple[Practice, ...]:
    together: dict[object, Practice] = {}
    for item in found:
        key = (item.left, item.reached, item.ways)
        known = together.get(key)
        if known is None:
            together[key] = item
            continue
        worst, other = (item, known) if item.cost > known.cost else (known, item)
        together[key] = replace(worst, grade=max(item.grade, known.grade), places=worst.places + other.places)
    return tuple(sorted(together.values(), key=lambda item: (-item.grade, -len(item.places), -item.cost)))


def _moves(prepared: Prepared) -> Iterator[tuple[Place, PlayedNote, PlayedNote]]:
    for part in prepared.played:
        for line in part.lines:
            for index, (before, how) in enumerate(pairwise(line.how), start=1):
                yield Place(part, line, index - 1, index), before, how


def _flagged(prepared: Prepared) -> Iterator[Practice]:
    for part in prepared.played:
        for line in part.lines:
            for index, how in enumerate(line.how):
                if how.crossing is None or how.fingering is None:
                    continue
                trill = how.crossing.reasons == (_TRILL,) or index == 0
                place = Place(part, line, index if trill else index - 1, index)
                found = _trill(place, how) if trill else _crossing(place, line.how[index - 1], how)
                if found is not None:
                    yield _with_other(found, place, prepared)


def _crossing(place: Place, before: PlayedNote, how: PlayedNote) -> Practice | None:
    if before.fingering is None or how.fingering is None or how.crossing is None:
        return None
    pitches = place.line.pitches
    return Practice(
        pitches[place.left],
        pitches[place.index],
        (before.fingering, how.fingering),
        how.crossing.grade,
        how.crossing.cost,
        tuple(reason for reason in how.crossing.reasons if reason != _TRILL),
        place.note.slurred,
        (place,),
    )


def _trill(place: Place, how: PlayedNote) -> Practice | None:
    if not how.auxiliaries or how.trill is None or how.fingering is None or how.crossing is None:
        return None
    return Practice(
        place.line.pitches[place.index],
        how.auxiliaries[0].pitch,
        (how.fingering, how.trill),
        how.crossing.grade,
        how.crossing.cost,
        (_TRILL,),
        True,
        (place,),
    )


def _with_other(item: Practice, place: Place, prepared: Prepared) -> Practice:
    """``item`` with what the report offers instead, or the chart's own way where the plan departs from it."""
    said = place.line.how[place.index].crossing
    roles = ("reached", "auxiliary") if item.trill else ("left", "reached")
    offered = {one.note: one.fingering for one in said.instead} if said is not None else {}
    other = [offered.get(role, way) for role, way in zip(roles, item.ways, strict=True)]
    pitches = (item.left, item.reached)
    if tuple(other) != item.ways:
        return replace(item, other=(other[0], other[1]), other_words="the alternate")
    left, reached = (usual(pitch.semitone, prepared.instrument) for pitch in pitches)
    if left is not None and reached is not None and (left, reached) != item.ways:
        return replace(item, other=(left, reached), other_words="the usual chart")
    return item


def _unflagged(prepared: Prepared, costing: Costing) -> Iterator[Practice]:
    for place, before, how in _moves(prepared):
        left, note = place.left_note, place.note
        if before.fingering is None or how.fingering is None:
            continue
        if note.onset - left.onset - left.duration >= _JOINED or note.breath or note.grace or left.grace:
            continue
        pitches = place.line.pitches[place.left], place.line.pitches[place.index]
        ways = _way(costing, pitches[0], before.fingering), _way(costing, pitches[1], how.fingering)
        seconds = prepared.clock.seconds(note.onset) - prepared.clock.seconds(left.onset)
        milliseconds = min(costing.measures.longest, max(0, round(seconds * 1000)))
        reached = Approach(ways[1].semitone, milliseconds, note.slurred, 0)
        cost = costing.crossing(*ways, reached) / 1000
        named = reasons(costing.elements(*ways, note.slurred), costing.profile, costing.urgency[milliseconds])
        if cost >= LEAST_COST and named:
            item = Practice(
                *pitches, (before.fingering, how.fingering), 0, cost, named, note.slurred, (place,)
            )
            yield _with_other(item, place, prepared)


def _way(costing: Costing, pitch: Pitch, fingering: Fingering) -> Way:
    return next(way for way in costing.offered(pitch.semitone) if way.fingering == fingering)
