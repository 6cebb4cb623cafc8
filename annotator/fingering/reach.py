"""A note reached from a pitch: its costs for the planner, and the finished note once the plan is known."""

from __future__ import annotations

from dataclasses import dataclass, field

from annotator.fingering import sentences, trills
from annotator.fingering.candidates import out_of_reach
from annotator.fingering.costing import Approach, Costing, Matrix
from annotator.fingering.crossing import Way
from annotator.fingering.model import Auxiliary, Crossing, Fingering, PlayedNote, ReadNote
from annotator.fingering.ornaments import Neighbour

_MOST_TEXTS = 200


@dataclass(slots=True, eq=False)
class Reach:
    """A note reached from a pitch: all that does not depend on what the line cost before.

    ``rows``: crossing costs, for each way of the note over those of the pitch before; empty where the
    line breaks. ``own``: each way's note cost. ``severity`` is −1 until it is asked for.
    ``cells[a][b]`` is the finished note for way ``b`` reached from ``a``, once it is known and always
    the same; ``texts`` keeps those that depend on the notes around.
    """

    left: tuple[Way, ...]
    ways: tuple[Way, ...]
    approach: Approach
    others: tuple[Neighbour, ...]
    rows: Matrix
    own: tuple[int, ...]
    cells: list[list[PlayedNote | None]]
    severity: int = -1
    texts: dict[object, PlayedNote] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class After:
    """The note that follows: how it is fingered, and how it is reached."""

    note: ReadNote
    fingering: Fingering
    reach: Reach


@dataclass(frozen=True, slots=True)
class Around:
    """A note between its neighbours in the line."""

    before: ReadNote | None
    note: ReadNote
    after: After | None


def reach_of(costing: Costing, left: tuple[Way, ...], before: ReadNote | None, note: ReadNote) -> Reach:
    """``note`` as reached from ``before``, whose ways are ``left``."""
    approach = costing.approach(before, note)
    others = costing.neighbours(note)
    semitone = note.pitch.semitone
    ways = costing.ways(semitone)
    rows: Matrix = ()
    if ways and left and approach.milliseconds is not None:
        rows = costing.matrix(left[0].semitone, semitone, approach)
    trilled = any(other.trilled for other in others)
    own = tuple(costing.note(way, approach, trilled) + costing.ornamented(way, others) for way in ways)
    cells: list[list[PlayedNote | None]] = [[None] * max(1, len(ways)) for _ in range(max(1, len(left)))]
    return Reach(left, ways, approach, others, rows, own or (0,), cells)


def finished(costing: Costing, reach: Reach, chosen: tuple[int, int], around: Around) -> PlayedNote:
    """The finished note, with flag and reasons. ``chosen``: the way of the note before, and of this one."""
    before, note, after = around.before, around.note, around.after
    left, place = chosen
    if not reach.ways:
        found = PlayedNote(None, why=out_of_reach(note.pitch.semitone, costing.instrument))
        reach.cells[left][place] = found
        return found
    way = reach.ways[place]
    if reach.severity < 0:
        reach.severity = severity_of(reach)
    trill = trills.trill_flag(costing, note, way, reach.others)
    flagged = sentences.grade_of(costing, reach.severity) > 0
    if not flagged and trill is None and way.departure == 0:
        reach.cells[left][place] = found = _played(costing, reach, way)
        return found
    into = out = None
    if reach.left and before is not None:
        into = sentences.Move(before, note, reach.left[left], way, reach.approach)
    if way.departure and after is not None:
        following = next(item for item in after.reach.ways if item.fingering == after.fingering)
        out = sentences.Move(note, after.note, way, following, after.reach.approach)
    key = (
        chosen,
        note.pitch,
        into and (into.before.pitch, sentences.pace(into.before, note)),
        out and (out.reached, out.approach, out.note.pitch, sentences.pace(note, out.note)),
    )
    kept = reach.texts.get(key)
    if kept is not None:
        return kept
    flag = sentences.crossing_flag(costing, into, reach.severity) if into and flagged else None
    why = ""
    if way.departure:
        reason = trills.trill_reason(costing, way, reach.others)
        why = sentences.departure(costing, way, into, out, reason)
    if len(reach.texts) > _MOST_TEXTS:
        reach.texts.clear()
    reach.texts[key] = found = _played(costing, reach, way, sentences.both(flag, trill), why)
    return found


def severity_of(reach: Reach) -> int:
    """The least cost of getting across, alternates counted at their price: what a flag goes by.

    In thousandths of an awkwardness. It does not depend on the rest of the line, and less time never
    lowers it.
    """
    return min(
        (
            cost + a.flag_departure + b.flag_departure
            for b, row in zip(reach.ways, reach.rows, strict=False)
            for a, cost in zip(reach.left, row, strict=True)
        ),
        default=0,
    )


def _played(
    costing: Costing, reach: Reach, way: Way, crossing: Crossing | None = None, why: str = ""
) -> PlayedNote:
    setting = costing.setting(way.fingering, reach.approach)
    offered = costing.offered(way.semitone)
    auxiliaries = []
    for other in reach.others:
        best = costing.best_neighbour(way, other)[1]
        auxiliaries.append(Auxiliary(other.pitch, best.fingering if best else None, other.side))
    return PlayedNote(
        way.fingering,
        tuple(item.fingering for item in offered if item.fingering != way.fingering),
        crossing,
        slide_mm=setting.wanted,
        slide=setting.words,
        why=why,
        first_mm=setting.first,
        third_mm=setting.third,
        cents_left=setting.cents_left,
        # On a note over before the lip has settled nobody misses a slide.
        slide_trouble=setting.trouble if reach.approach.settled else "",
        auxiliaries=tuple(auxiliaries),
    )
