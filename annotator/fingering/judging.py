"""What a player is told of a planned note, as values: its flag, and why it leaves the chart."""

from __future__ import annotations

from collections.abc import Sequence

from annotator.fingering.approach import TREMOLO, Approach
from annotator.fingering.costing import Costing
from annotator.fingering.crossing import (
    ALTERNATION,
    FINGERS,
    TRILL,
    UNIT,
    is_clean_trill,
    is_lip_trill,
    reasons,
    thousandths,
)
from annotator.fingering.model import Crossing, Departure, Instead, Move, TrillPair, Way
from annotator.fingering.ornaments import Neighbour
from annotator.pitch import Pitch


def grade_of(costing: Costing, severity: int) -> int:
    """0 (no flag) to 3, by the thresholds of the profile."""
    mild, awkward, severe = costing.grades
    return (severity >= mild) + (severity >= awkward) + (severity >= severe)


def severity(costing: Costing, left: Way, reached: Way, approach: Approach) -> int:
    """What a crossing counts for a flag, in thousandths: as it is played, an alternate that eases it at its
    price. Two notes in turn count as the trill on them does, the faster the more.
    """
    if approach.milliseconds is None:
        return 0
    found = costing.crossing(left, reached, approach)
    if left.place or reached.place:
        price = max(left.flag_departure, reached.flag_departure)
        if approach.turned:
            price = thousandths(price * costing.profile["trill.departure"] / UNIT)
        chart = [costing.offered(way.semitone)[0] for way in (left, reached)]
        found = max(found, min(costing.crossing(chart[0], chart[1], approach), found + price))
    return max(found, _as_trill(costing, left, reached, approach)) if approach.turned else found


def _as_trill(costing: Costing, left: Way, reached: Way, approach: Approach) -> int:
    """What two notes in turn count as the trill that they are; in full from the speed of a trill on."""
    if left.semitone == reached.semitone:
        return 0
    whole = _best_trill(costing, costing.ways(left.semitone), costing.ways(reached.semitone))[0]
    full = UNIT if approach.turned == TREMOLO else max(1, thousandths(costing.profile["trill.urgency"]))
    urgency = full if approach.turned == TREMOLO else costing.urgency[approach.milliseconds or 0]
    return whole * min(urgency, full) // full


def crossing_flag(costing: Costing, move: Move, approach: Approach) -> Crossing | None:
    """The flag of a crossing, or None below grade 1."""
    cost = severity(costing, move.left, move.reached, approach)
    grade = grade_of(costing, cost)
    if not grade or move.milliseconds is None:
        return None
    planned = costing.crossing(move.left, move.reached, approach)
    told, taken = move, None
    if 2 * planned < cost and (move.left.place or move.reached.place):
        # Alternates carry the plan over; what is awkward is the chart's own crossing.
        told = charted(costing, move)
        taken = (move.left.fingering, move.reached.fingering)
    found = _reasons(costing, told)
    if cost > planned + max(move.left.flag_departure, move.reached.flag_departure):
        found = (ALTERNATION, *(reason for reason in found if reason != FINGERS))
    instead, gain = _instead(costing, move, approach, planned)
    return Crossing(grade, found, cost / UNIT, instead, gain, (told,), taken)


def charted(costing: Costing, move: Move) -> Move:
    """The same move with the chart's fingerings."""
    left, reached = (costing.offered(way.semitone)[0] for way in (move.left, move.reached))
    return Move(move.before, move.note, left, reached, move.slurred, move.milliseconds, move.pace)


def both(crossing: Crossing | None, trill: Crossing | None) -> Crossing | None:
    """One flag out of two on the same note."""
    if crossing is None or trill is None:
        return crossing or trill
    worse = crossing if crossing.grade >= trill.grade else trill
    return Crossing(
        worse.grade,
        worse.reasons + tuple(r for each in (crossing, trill) if each is not worse for r in each.reasons),
        max(crossing.cost, trill.cost),
        crossing.instead + trill.instead,
        max(crossing.gain, trill.gain),
        crossing.moves,
        crossing.taken,
        trill.trills,
    )


def trill_flag(costing: Costing, pitch: Pitch, way: Way, others: tuple[Neighbour, ...]) -> Crossing | None:
    """The flag of a note whose trill no fingering makes good, or None."""
    worst: Crossing | None = None
    for other in others:
        if not other.trilled:
            continue
        options = costing.ways(other.pitch.semitone)
        if not options:
            return Crossing(3, (TRILL,), trills=(TrillPair(pitch, other.pitch, way, None),))
        cost = _best_trill(costing, costing.ways(pitch.semitone), options)[0]
        grade = grade_of(costing, cost)
        if not grade or (worst is not None and worst.grade >= grade):
            continue
        best = costing.best_neighbour(way, other)[1] or options[0]
        instead, gain = _better_trill(costing, way, best, (pitch, other.pitch))
        pair = _pair(pitch, other.pitch, way, best)
        worst = Crossing(grade, (TRILL,), cost / UNIT, instead, gain, trills=(pair,))
    return worst


def departure(
    costing: Costing, pitch: Pitch, way: Way, approach: Approach, moves: Sequence[Move | None]
) -> Departure:
    """Why ``way`` was chosen and not the chart's. ``moves``: the crossings into and out of it, if any."""
    chart = costing.offered(way.semitone)[0]
    for other in approach.others:
        best = costing.best_neighbour(way, other)[1]
        if best is not None:
            pair = _pair(pitch, other.pitch, way, best)
            return Departure("trill", way, chart, trill=pair, trilled=other.trilled)
    there = [move for move in moves if move is not None and move.milliseconds is not None]
    # First against the chart on both notes: an alternate may be there for the sake of another one.
    for chart_around in (True, False):
        savings = [_saving(costing, move, way, chart_around) for move in there]
        saved, spared = max(savings, default=(0, None), key=lambda item: item[0])
        if saved > 0 and spared is not None:
            named = _reasons(costing, spared)
            return Departure("crossing", way, chart, spared, named[0] if named else FINGERS)
    nearer = abs(way.fingering.cents) < abs(chart.fingering.cents)
    return Departure("tune" if nearer else "figure", way, chart)


def _reasons(costing: Costing, move: Move) -> tuple[str, ...]:
    urgency = costing.urgency[move.milliseconds or 0]
    found = costing.elements(move.left, move.reached, move.slurred)
    return reasons(found, costing.profile, urgency)


def _cost(costing: Costing, left: Way, reached: Way, move: Move) -> int:
    approach = Approach(reached.semitone, move.milliseconds, move.slurred, 0)
    return costing.crossing(left, reached, approach)


def _saving(costing: Costing, move: Move, way: Way, chart_around: bool) -> tuple[int, Move]:
    """What the plan's crossing costs less than with the chart's ``way``, and the crossing it spares."""
    left, reached = move.left, move.reached
    planned = _cost(costing, left, reached, move)
    if chart_around or left is way:
        left = costing.offered(left.semitone)[0]
    if chart_around or reached is way:
        reached = costing.offered(reached.semitone)[0]
    spared = Move(move.before, move.note, left, reached, move.slurred, move.milliseconds, move.pace)
    return _cost(costing, left, reached, move) - planned, spared


def _instead(
    costing: Costing, move: Move, approach: Approach, planned: int
) -> tuple[tuple[Instead, ...], float]:
    """The pair of fingerings that goes best at its price, where it is a good deal better, and its gain."""
    found = []
    for left in costing.offered(move.left.semitone):
        for reached in costing.offered(move.reached.semitone):
            cost = costing.crossing(left, reached, approach)
            # An alternate has its price; one that costs more than it saves is no help.
            found.append((cost + left.departure + reached.departure, cost, left, reached))
    whole, cost, left, reached = min(found, key=lambda item: item[:2])
    if planned - whole < thousandths(costing.profile["grade.instead"]):
        return (), 0.0
    pairs = (("left", move.before, move.left, left), ("reached", move.note, move.reached, reached))
    changes = tuple(Instead(note, pitch, new.fingering) for note, pitch, old, new in pairs if new is not old)
    return changes, round((planned - cost) / UNIT, 3) if changes else 0.0


def _better_trill(
    costing: Costing, way: Way, best: Way, pitches: tuple[Pitch, Pitch]
) -> tuple[tuple[Instead, ...], float]:
    planned = costing.trill_cost(way, best)
    mains, options = costing.offered(way.semitone), costing.offered(best.semitone)
    whole, cost, main, option = _best_trill(costing, mains, options)
    if planned - whole < thousandths(costing.profile["grade.instead"]):
        return (), 0.0
    changes = (
        Instead("reached", pitches[0], main.fingering),
        Instead("auxiliary", pitches[1], option.fingering),
    )
    return changes, round((planned - cost) / UNIT, 3)


def _best_trill(costing: Costing, mains: Sequence[Way], options: Sequence[Way]) -> tuple[int, int, Way, Way]:
    """The best pair for a trill: its cost with the price of its fingerings, without it, and the pair."""
    found = []
    for main in mains:
        for option in options:
            price = main.departure + (0 if is_lip_trill(main, option) else option.departure)
            if main.partial == option.partial or is_lip_trill(main, option):
                price = round(price * costing.profile["trill.departure"])
            cost = costing.trill_cost(main, option)
            found.append((cost + price, cost, main, option))
    return min(found, key=lambda item: item[:2])


def _pair(pitch: Pitch, auxiliary: Pitch, main: Way, other: Way) -> TrillPair:
    clean, lip = is_clean_trill(main, other), is_lip_trill(main, other)
    return TrillPair(pitch, auxiliary, main, other, clean, lip)
