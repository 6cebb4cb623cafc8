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
)
from annotator.fingering.model import Crossing, ReadNote
from annotator.fingering.ornaments import is_tremolo_start
from annotator.instruments import tube
from annotator.instruments.model import FUNDAMENTAL
from annotator.pitch import Pitch, spelled

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
FINGER_NAMES = ("first", "second", "third", "fourth")
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
        f"{name_of(move.before.pitch)} ({left.fingering.valves}) to {name_of(move.note.pitch)} "
        f"({reached.fingering.valves}), {pace(move.before, move.note)}: {told}{eased}"
    )
    instead, gain = _instead(costing, move, planned)
    short = SHORT[found[0]] if found else ""
    return Crossing(grade, found, sentence, instead, short, severity / UNIT, gain)


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
    return charted - planned, f"{there}, {pace(move.before, move.note)}, {needs}"


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
        f"{name_of(note.pitch)} with {new.fingering.valves}"
        for note, old, new in ((move.before, move.left, best[2]), (move.note, move.reached, best[3]))
        if new.fingering != old.fingering
    ]
    return " and ".join(changes) or None, round((planned - best[1]) / UNIT, 3) if changes else 0.0


def _explained(reason: str, left: Way, reached: Way, slurred: bool) -> str:
    """What a reason means on this crossing."""
    slur = " under a slur" if slurred else ""
    up, down = left.mask & ~reached.mask, reached.mask & ~left.mask
    to = f"to partial {reached.partial}"
    rising = reached.partial > left.partial
    go = "goes" if down.bit_count() == 1 else "go"
    between = ", ".join(_partial_name(n, reached.tubing) for n in partials_between(left, reached))
    told = {
        FINGER_EXCHANGE: f", {_fingers(up)} up as {_fingers(down)} {go} down",
        CONTRARY_MOTION: f"{slur}, {'up' if rising else 'down'} {to} while tubing is "
        + ("added" if rising else "taken away"),
        PARTIAL_SKIP: f"{slur}, {between} may speak between",
        LIP_SLUR: f", partial {left.partial} to {reached.partial} with the lips alone",
        CLOSE_PARTIALS: f"{slur}, the one beside {reached.partial} may speak",
        PARTIAL_CHANGE: f"{slur}, {left.partial} to {reached.partial}",
        FINGERS: f", {_fingers(up | down)} at once",
    }
    return reason + told[reason]


def _fingers(mask: int) -> str:
    return " and ".join(FINGER_NAMES[finger] for finger in range(4) if mask >> finger & 1)


def _partial_name(n: int, tubing: int) -> str:
    return name_of(spelled(FUNDAMENTAL.semitone + tube.partial_semitones(n) - tubing))


def name_of(pitch: Pitch) -> str:
    return pitch.name.replace("#", "♯").replace("b", "♭")
