"""Sentences a player would say, made of what was planned. Words only: nothing is decided here."""

from __future__ import annotations

from dataclasses import dataclass

from annotator.fingering.crossing import (
    ALTERNATION,
    CLOSE_PARTIALS,
    CONTRARY_MOTION,
    FINGER_EXCHANGE,
    FINGERS,
    LIP_SLUR,
    PARTIAL_CHANGE,
    PARTIAL_SKIP,
    TRILL,
    WIDE_LEAP,
    partials_between,
)
from annotator.fingering.model import (
    Crossing,
    Departure,
    Instead,
    Move,
    Pace,
    PlayedNote,
    Slides,
    TrillPair,
    Way,
)
from annotator.instruments import Instrument, tube
from annotator.instruments.model import FUNDAMENTAL
from annotator.pitch import Pitch

# What stands on the page beside the note, at most twelve characters.
SHORT = {
    FINGER_EXCHANGE: "swap",
    CONTRARY_MOTION: "contrary",
    PARTIAL_SKIP: "skip",
    LIP_SLUR: "lips",
    CLOSE_PARTIALS: "close",
    PARTIAL_CHANGE: "partial",
    FINGERS: "fingers",
    WIDE_LEAP: "leap",
    ALTERNATION: "alternate",
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
    WIDE_LEAP: "is a wide leap",
}
FINGER_NAMES = ("first", "second", "third", "fourth")
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
class Wording:
    """How sentences are put. ``fundamental``: what the pedal is called, from which partials are counted."""

    fundamental: int = 1

    def partial(self, n: int) -> int:
        """What partial ``n`` (1: the fundamental) is called."""
        return n - 1 + self.fundamental


PLAIN = Wording()


def short(crossing: Crossing) -> str:
    """What is printed on the page for a crossing, beside its strokes."""
    return SHORT[crossing.reasons[0]] if crossing.reasons else ""


def crossing_sentence(crossing: Crossing, wording: Wording = PLAIN) -> str:
    """A crossing told to a player."""
    told = [_move_sentence(crossing, move, wording) for move in crossing.moves]
    return "; ".join((*told, *(_trill_sentence(pair) for pair in crossing.trills)))


def instead_words(instead: tuple[Instead, ...]) -> str | None:
    """What would ease a crossing: ``A4 with 3 and B4 with 2``; None where nothing would."""
    told = [f"{name_of(item.pitch)} with {item.fingering.valves}" for item in instead]
    return " and ".join(told) or None


def departure_sentence(departure: Departure, wording: Wording = PLAIN) -> str:
    """Why a note leaves the chart."""
    way, chart = departure.way, departure.chart
    label = way.fingering.valves
    if way.partial != chart.partial:
        label += f" on partial {wording.partial(way.partial)}"
    elif label == "3":
        label = "third valve alone"
    return f"{label}: {_why(departure)}"


def out_of_reach(semitone: int, instrument: Instrument) -> str:
    """Why a pitch cannot be played."""
    if semitone < instrument.low.semitone:
        return f"below {instrument.low.name}, the lowest note of the {instrument.name}"
    if semitone > instrument.high.semitone:
        return f"above {instrument.high.name}, the highest note planned for the {instrument.name}"
    return f"no valves of the {instrument.name} reach it on a partial in use"


def why(how: PlayedNote, pitch: Pitch, instrument: Instrument, wording: Wording = PLAIN) -> str:
    """The reason for a fingering off the chart or for none; empty where the chart is played."""
    if how.fingering is None:
        return out_of_reach(pitch.semitone, instrument)
    return departure_sentence(how.departure, wording) if how.departure is not None else ""


def slide_words(slides: Slides) -> str:
    """Where the slides stand: ``third slide 9 mm``; empty when they are in."""
    pulls = (("third", slides.third), ("first", slides.first))
    return " and ".join(f"{name} slide {pull} mm" for name, pull in pulls if pull)


def held_words(how: PlayedNote, pitch: Pitch) -> str:
    """What many players take for a note held long; empty where nothing is to be said."""
    if how.held is None or how.fingering is None:
        return ""
    return (
        f"{name_of(pitch)} is {_cents(how.fingering.cents)} with {how.fingering.valves}; held, many take "
        f"{how.held.valves} ({_cents(how.held.cents)})"
    )


def pace_words(pace: Pace) -> str:
    """How fast: ``sixteenth notes at 132`` where the note values are known, else seconds."""
    if pace.kind == "tremolo":
        return "as a tremolo"
    value = _NOTE_VALUES.get(pace.quarters)
    if value is None or pace.seconds <= 0 or pace.kind == "grace":
        return f"{pace.seconds:.2f} s apart" if pace.seconds > 0 else "a grace note apart"
    return f"{value} at {60 * pace.quarters / pace.seconds:.0f}"


def name_of(pitch: Pitch) -> str:
    return pitch.name.replace("#", "♯").replace("b", "♭")


def _cents(cents: float) -> str:
    return f"{abs(cents):.0f} cents {'sharp' if cents > 0 else 'flat'}" if round(cents) else "in tune"


def _move_sentence(crossing: Crossing, move: Move, wording: Wording) -> str:
    named = [reason for reason in crossing.reasons if reason != TRILL]
    told = " and ".join(_explained(reason, move, wording) for reason in named)
    taken = ""
    if crossing.taken is not None:
        taken = "; taken here as {} to {}".format(*(item.valves for item in crossing.taken))
    valves = f"{move.left.fingering.valves} to {move.reached.fingering.valves}"
    if move.left.mask == move.reached.mask:
        valves = "both open" if not move.left.mask else f"both {move.left.fingering.valves}"
    return (
        f"{name_of(move.before)} to {name_of(move.note)} ({valves}), {pace_words(move.pace)}: {told}{taken}"
    )


def _trill_sentence(pair: TrillPair) -> str:
    told = f"trill {name_of(pair.pitch)}–{name_of(pair.auxiliary)}"
    if pair.other is None:
        return f"{told}: {name_of(pair.auxiliary)} is out of reach"
    used = f"{pair.main.fingering.valves} and {pair.other.fingering.valves}"
    if pair.lip:
        return f"{told}: a lip trill on {pair.main.fingering.valves}"
    if pair.clean:
        return f"{told}: only with {used}, far from the chart"
    if pair.main.partial == pair.other.partial:
        up, down = pair.main.mask & ~pair.other.mask, pair.other.mask & ~pair.main.mask
        if up and down:
            return f"{told}: {_fingers(up)} against {_fingers(down)} finger; no fingering moves one alone"
    return (
        f"{told}: no fingering in this profile keeps one partial and moves one finger; "
        f"{used} is the least bad"
    )


def _why(departure: Departure) -> str:
    pair, move = departure.trill, departure.move
    if pair is not None and pair.other is not None:
        what = f"{'trill to' if departure.trilled else 'ornament’s'} {name_of(pair.auxiliary)}"
        if pair.lip:
            return f"the {what} is made with the lip on this fingering"
        if pair.clean:
            finger = FINGER_NAMES[(pair.main.mask ^ pair.other.mask).bit_length() - 1]
            return f"the {what} keeps one partial and moves the {finger} finger only"
        return f"the {what} goes best with {pair.other.fingering.valves}"
    if departure.kind == "crossing" and move is not None:
        there = f"{move.left.fingering.valves} to {move.reached.fingering.valves}"
        if move.left.mask == move.reached.mask:
            there = f"{name_of(move.before)} to {name_of(move.note)} on {move.left.fingering.valves}"
        return f"{there}, {pace_words(move.pace)}, {_NEEDS[departure.reason]}"
    if departure.kind == "tune":
        return f"nearer in tune here than {departure.chart.fingering.valves}"
    return "goes with the fingerings around it"


def _explained(reason: str, move: Move, wording: Wording) -> str:
    """What a reason means on this crossing."""
    left, reached = move.left, move.reached
    slur = " under a slur" if move.slurred else ""
    up, down = left.mask & ~reached.mask, reached.mask & ~left.mask
    to = f"to partial {wording.partial(reached.partial)}"
    rising = reached.partial > left.partial
    go = "goes" if down.bit_count() == 1 else "go"
    between = ", ".join(_partial_name(n, reached) for n in partials_between(left, reached))
    numbers = wording.partial(left.partial), wording.partial(reached.partial)
    told = {
        FINGER_EXCHANGE: f", {_fingers(up)} up as {_fingers(down)} {go} down",
        CONTRARY_MOTION: f"{slur}, {'up' if rising else 'down'} {to} while tubing is "
        + ("added" if rising else "taken away"),
        PARTIAL_SKIP: f"{slur}, {between} may speak between",
        LIP_SLUR: f", partial {numbers[0]} to {numbers[1]} with the lips alone",
        CLOSE_PARTIALS: f"{slur}, the one beside {numbers[1]} may speak",
        PARTIAL_CHANGE: f"{slur}, {numbers[0]} to {numbers[1]}",
        FINGERS: f", {_fingers(up | down)} at once",
        WIDE_LEAP: f"{slur}, {_interval(move)}" + (f" over {between}" if between else ""),
        ALTERNATION: " with these two, as hard as the trill on them",
    }
    return reason + told[reason]


def _interval(move: Move) -> str:
    semitones = abs(move.reached.semitone - move.left.semitone)
    octaves, rest = divmod(semitones, 12)
    over = "" if not rest else " and more"
    return {0: "less than an octave", 1: f"an octave{over}", 2: f"two octaves{over}"}.get(
        octaves, f"{octaves} octaves{over}"
    )


def _fingers(mask: int) -> str:
    return " and ".join(FINGER_NAMES[finger] for finger in range(4) if mask >> finger & 1)


def _partial_name(n: int, way: Way) -> str:
    octave, step = divmod(FUNDAMENTAL.semitone + tube.partial_semitones(n) - way.tubing, 12)
    return f"{_SEMITONE_NAMES[step]}{octave - 1}"
