"""What the planner says to a player: flags, reasons for a departure from the chart, what would help."""

from __future__ import annotations

from dataclasses import dataclass

from annotator.fingering.costing import Approach, Costing
from annotator.fingering.crossing import (
    CLOSE_PARTIALS,
    CONTRARY_MOTION,
    FINGER_EXCHANGE,
    FINGERS,
    LIP_SLUR,
    PARTIAL_CHANGE,
    PARTIAL_SKIP,
    UNIT,
    Way,
    partials_between,
    reasons,
    thousandths,
    trill_weight,
)
from annotator.fingering.model import Crossing, ReadNote
from annotator.fingering.ornaments import Neighbour, is_tremolo_start
from annotator.instruments import tube
from annotator.instruments.model import FUNDAMENTAL
from annotator.pitch import Pitch

TRILL = "trill"

# What stands on the page beside the note, at most twelve characters.
SHORT = {
    FINGER_EXCHANGE: "swap",
    CONTRARY_MOTION: "contrary",
    PARTIAL_SKIP: "skip",
    LIP_SLUR: "lips",
    CLOSE_PARTIALS: "close",
    PARTIAL_CHANGE: "partial",
    FINGERS: "fingers",
    TRILL: "trill",
}
_NEEDS = {
    FINGER_EXCHANGE: "needs a finger exchange",
    CONTRARY_MOTION: "goes in contrary motion",
    PARTIAL_SKIP: "skips a partial",
    LIP_SLUR: "is a lip slur",
    CLOSE_PARTIALS: "lands where partials lie close",
    PARTIAL_CHANGE: "changes the partial",
    FINGERS: "moves more fingers",
}
_FINGERS = ("first", "second", "third", "fourth")
_SEMITONE_NAMES = ("C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B")
_NOTE_VALUES = {
    4.0: "whole notes",
    3.0: "dotted half notes",
    2.0: "half notes",
    1.5: "dotted quarter notes",
    1.0: "quarter notes",
    0.75: "dotted eighth notes",
    0.6667: "triplet quarter notes",
    0.5: "eighth notes",
    0.375: "dotted sixteenth notes",
    0.3333: "triplet eighth notes",
    0.4: "quintuplet eighth notes",
    0.25: "sixteenth notes",
    0.2: "quintuplet sixteenth notes",
    0.1667: "triplet sixteenth notes",
    0.1429: "septuplet sixteenth notes",
    0.125: "thirty-second notes",
    0.0833: "triplet thirty-second notes",
    0.0625: "sixty-fourth notes",
}


@dataclass(frozen=True, slots=True)
class Move:
    """A crossing as it happens: the notes, the ways chosen for them, and how the second is reached."""

    before: ReadNote
    note: ReadNote
    left: Way
    reached: Way
    approach: Approach


def crossing_flag(costing: Costing, move: Move, severity: int) -> Crossing | None:
    """The flag of a crossing whose least cost is ``severity`` thousandths, or None below grade 1."""
    grade = grade_of(costing, severity)
    milliseconds = move.approach.milliseconds
    if not grade or milliseconds is None:
        return None
    slurred = move.approach.slurred
    planned = costing.crossing(move.left, move.reached, milliseconds, slurred)
    left, reached, eased = move.left, move.reached, ""
    if 2 * planned < severity:
        # Alternates carry the plan over; what is awkward is the chart's own crossing.
        left, reached = costing.offered(left.semitone)[0], costing.offered(reached.semitone)[0]
        eased = f"; taken here as {move.left.fingering.valves} to {move.reached.fingering.valves}"
    found = reasons(costing.elements(left, reached, slurred))
    told = " and ".join(_explained(reason, left, reached, slurred) for reason in found)
    sentence = (
        f"{_name(move.before.pitch)} ({left.fingering.valves}) to {_name(move.note.pitch)} "
        f"({reached.fingering.valves}), {pace(move.before, move.note)}: {told}{eased}"
    )
    instead, gain = _instead(costing, move, planned)
    short = SHORT[found[0]] if found else ""
    return Crossing(grade, found, sentence, instead, short, severity / UNIT, gain)


def trill_flag(costing: Costing, note: ReadNote, way: Way, others: tuple[Neighbour, ...]) -> Crossing | None:
    """The flag of a note whose trill no fingering makes good, or None."""
    worst: Crossing | None = None
    for other in others:
        if not other.trilled:
            continue
        options = costing.ways(other.pitch.semitone)
        pair = f"trill {_name(note.pitch)}–{_name(other.pitch)}"
        if not options:
            return Crossing(3, (TRILL,), f"{pair}: {_name(other.pitch)} is out of reach", None, SHORT[TRILL])
        severity = trill_severity(costing, note, other)
        grade = grade_of(costing, severity)
        if not grade or (worst is not None and worst.grade >= grade):
            continue
        best = costing.best_neighbour(way, other)[1] or options[0]
        sentence = (
            f"{pair}: no fingering in this profile keeps one partial and moves one finger; "
            f"{way.fingering.valves} and {best.fingering.valves} is the least bad"
        )
        instead, gain = _better_trill(costing, way, best, other, note)
        worst = Crossing(grade, (TRILL,), sentence, instead, SHORT[TRILL], severity / UNIT, gain)
    return worst


def trill_severity(costing: Costing, note: ReadNote, other: Neighbour) -> int:
    """The least a trill costs with any pair of fingerings, in thousandths."""
    return min(
        trill_weight(main, option, costing.profile)
        for main in costing.ways(note.pitch.semitone)
        for option in costing.ways(other.pitch.semitone)
    )


def both(crossing: Crossing | None, trill: Crossing | None) -> Crossing | None:
    """One flag out of two on the same note."""
    if crossing is None or trill is None:
        return crossing or trill
    worse = crossing if crossing.grade >= trill.grade else trill
    return Crossing(
        worse.grade,
        crossing.reasons + trill.reasons,
        f"{crossing.sentence}; {trill.sentence}",
        "; ".join(filter(None, (crossing.instead, trill.instead))) or None,
        worse.short,
        max(crossing.cost, trill.cost),
        max(crossing.gain, trill.gain),
    )


def departure(costing: Costing, way: Way, into: Move | None, out: Move | None, trill: str) -> str:
    """Why ``way`` was chosen and not the chart's. ``into`` and ``out``: the crossings beside it, if any."""
    chart = costing.offered(way.semitone)[0]
    same = way.partial == chart.partial
    label = "third valve alone" if way.fingering.valves == "3" and same else f"{way.fingering.valves}"
    if not same:
        label += f" on partial {way.partial}"
    if trill:
        return f"{label}: {trill}"
    moves = [move for move in (into, out) if move is not None and move.approach.milliseconds is not None]
    # First against the chart on both notes: an alternate may be there for the sake of another one.
    for chart_around in (True, False):
        savings = [_saving(costing, move, way, chart_around) for move in moves]
        best = max(savings, default=(0, ""), key=lambda item: item[0])
        if best[0] > 0:
            return f"{label}: {best[1]}"
    if abs(way.fingering.cents) < abs(chart.fingering.cents):
        return f"{label}: nearer in tune here than {chart.fingering.valves}"
    return f"{label}: goes with the fingerings around it"


def _saving(costing: Costing, move: Move, way: Way, chart_around: bool) -> tuple[int, str]:
    """What the plan's crossing costs less than with the chart's ``way``, and what that would need."""
    left, reached, slurred = move.left, move.reached, move.approach.slurred
    planned = costing.crossing(left, reached, move.approach.milliseconds or 0, slurred)
    if chart_around or left is way:
        left = costing.offered(left.semitone)[0]
    if chart_around or reached is way:
        reached = costing.offered(reached.semitone)[0]
    charted = costing.crossing(left, reached, move.approach.milliseconds or 0, slurred)
    named = reasons(costing.elements(left, reached, slurred))
    needs = _NEEDS[named[0]] if named else "moves more fingers"
    there = f"{left.fingering.valves} to {reached.fingering.valves}"
    return charted - planned, f"{there} in {pace(move.before, move.note)} {needs}"


def trill_reason(costing: Costing, way: Way, others: tuple[Neighbour, ...]) -> str:
    """Why a trilled note is fingered as it is."""
    for other in others:
        best = costing.best_neighbour(way, other)[1]
        if best is None:
            continue
        what = f"{_kind(other)} {_name(other.pitch)}"
        moving = [finger for finger in range(4) if (way.mask ^ best.mask) >> finger & 1]
        if best.partial == way.partial and len(moving) == 1:
            finger = _FINGERS[moving[0]]
            return f"the {what} keeps one partial and moves the {finger} finger only"
        return f"the {what} goes best with {best.fingering.valves}"
    return ""


def grade_of(costing: Costing, severity: int) -> int:
    """0 (no flag) to 3, by the thresholds of the profile."""
    keys = ("grade.mild", "grade.awkward", "grade.severe")
    return sum(severity >= thousandths(costing.profile[key]) for key in keys)


def pace(before: ReadNote, note: ReadNote) -> str:
    """How fast: ``sixteenth notes at 132`` where the note values are known, else seconds."""
    if is_tremolo_start(before.ornaments):
        return "as a tremolo"
    seconds = note.onset - before.onset
    value = _NOTE_VALUES.get(round(before.quarters, 4))
    if value is None or seconds <= 0 or before.grace or note.grace:
        return f"{seconds:.2f} s apart" if seconds > 0 else "a grace note apart"
    return f"{value} at {60 * before.quarters / seconds:.0f}"


def _instead(costing: Costing, move: Move, planned: int) -> tuple[str | None, float]:
    milliseconds = move.approach.milliseconds
    if milliseconds is None:
        return None, 0.0
    best: tuple[int, int, Way, Way] | None = None
    for left in costing.offered(move.left.semitone):
        for reached in costing.offered(move.reached.semitone):
            cost = costing.crossing(left, reached, milliseconds, move.approach.slurred)
            # An alternate has its price; one that costs more than it saves is no help.
            whole = cost + left.departure + reached.departure
            if best is None or (whole, cost) < best[:2]:
                best = (whole, cost, left, reached)
    if best is None or planned - best[0] < thousandths(costing.profile["grade.instead"]):
        return None, 0.0
    changes = [
        f"{_name(note.pitch)} with {new.fingering.valves}"
        for note, old, new in ((move.before, move.left, best[2]), (move.note, move.reached, best[3]))
        if new.fingering != old.fingering
    ]
    return " and ".join(changes) or None, round((planned - best[1]) / UNIT, 3) if changes else 0.0


def _better_trill(
    costing: Costing, way: Way, best: Way, other: Neighbour, note: ReadNote
) -> tuple[str | None, float]:
    planned = trill_weight(way, best, costing.profile)
    cost, main, option = min(
        (
            (trill_weight(main, option, costing.profile), main, option)
            for main in costing.offered(note.pitch.semitone)
            for option in costing.offered(other.pitch.semitone)
        ),
        key=lambda item: item[0],
    )
    if planned - cost < thousandths(costing.profile["grade.instead"]):
        return None, 0.0
    pairs = ((note.pitch, main), (other.pitch, option))
    text = " and ".join(f"{_name(pitch)} with {new.fingering.valves}" for pitch, new in pairs)
    return text, round((planned - cost) / UNIT, 3)


def _explained(reason: str, left: Way, reached: Way, slurred: bool) -> str:
    """What a reason means on this crossing."""
    slur = " under a slur" if slurred else ""
    up, down = left.mask & ~reached.mask, reached.mask & ~left.mask
    to = f"to partial {reached.partial}"
    rising = reached.partial > left.partial
    between = ", ".join(_partial_name(n, reached.tubing) for n in partials_between(left, reached))
    told = {
        FINGER_EXCHANGE: f", {_fingers(up)} up as {_fingers(down)} goes down",
        CONTRARY_MOTION: f"{slur}, {'up' if rising else 'down'} {to} while tubing is "
        + ("added" if rising else "taken away"),
        PARTIAL_SKIP: f"{slur}, {between} may speak between",
        LIP_SLUR: f", partial {left.partial} to {reached.partial} with the lips alone",
        CLOSE_PARTIALS: f"{slur}, the one beside {reached.partial} may speak",
        PARTIAL_CHANGE: f"{slur}, {left.partial} to {reached.partial}",
        FINGERS: f", {_fingers(up | down)} at once",
    }
    return reason + told[reason]


def _kind(other: Neighbour) -> str:
    return "trill to" if other.trilled else "ornament's"


def _fingers(mask: int) -> str:
    return " and ".join(_FINGERS[finger] for finger in range(4) if mask >> finger & 1)


def _partial_name(n: int, tubing: int) -> str:
    octave, step = divmod(FUNDAMENTAL.semitone + tube.partial_semitones(n) - tubing, 12)
    return f"{_SEMITONE_NAMES[step]}{octave - 1}"


def _name(pitch: Pitch) -> str:
    return pitch.name.replace("#", "♯").replace("b", "♭")
