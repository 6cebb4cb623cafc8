"""What the planner says of ornaments: flags for trills that no fingering makes good, and reasons."""

from __future__ import annotations

from collections.abc import Sequence

from annotator.fingering.costing import Costing
from annotator.fingering.crossing import UNIT, Way, thousandths, trill_weight
from annotator.fingering.model import Crossing, ReadNote
from annotator.fingering.ornaments import Neighbour
from annotator.fingering.sentences import FINGER_NAMES, SHORT, TRILL, grade_of, name_of


def trill_flag(costing: Costing, note: ReadNote, way: Way, others: tuple[Neighbour, ...]) -> Crossing | None:
    """The flag of a note whose trill no fingering makes good, or None."""
    worst: Crossing | None = None
    for other in others:
        if not other.trilled:
            continue
        options = costing.ways(other.pitch.semitone)
        pair = f"trill {name_of(note.pitch)}–{name_of(other.pitch)}"
        if not options:
            return Crossing(
                3, (TRILL,), f"{pair}: {name_of(other.pitch)} is out of reach", None, SHORT[TRILL]
            )
        severity = trill_severity(costing, note, other)
        grade = grade_of(costing, severity)
        if not grade or (worst is not None and worst.grade >= grade):
            continue
        best = costing.best_neighbour(way, other)[1] or options[0]
        used = f"{way.fingering.valves} and {best.fingering.valves}"
        sentence = (
            f"{pair}: no fingering in this profile keeps one partial and moves one finger; "
            f"{used} is the least bad"
        )
        if _is_good(way, best):
            sentence = f"{pair}: only with {used}, far from the chart"
        instead, gain = _better_trill(costing, way, best, other, note)
        worst = Crossing(grade, (TRILL,), sentence, instead, SHORT[TRILL], severity / UNIT, gain)
    return worst


def trill_severity(costing: Costing, note: ReadNote, other: Neighbour) -> int:
    """The least a trill costs with any pair of fingerings at its price, in thousandths."""
    return _best_trill(costing, costing.ways(note.pitch.semitone), costing.ways(other.pitch.semitone))[0]


def trill_reason(costing: Costing, way: Way, others: tuple[Neighbour, ...]) -> str:
    """Why a trilled note is fingered as it is."""
    for other in others:
        best = costing.best_neighbour(way, other)[1]
        if best is None:
            continue
        what = f"{_kind(other)} {name_of(other.pitch)}"
        if _is_good(way, best):
            finger = FINGER_NAMES[(way.mask ^ best.mask).bit_length() - 1]
            return f"the {what} keeps one partial and moves the {finger} finger only"
        return f"the {what} goes best with {best.fingering.valves}"
    return ""


def _better_trill(
    costing: Costing, way: Way, best: Way, other: Neighbour, note: ReadNote
) -> tuple[str | None, float]:
    planned = trill_weight(way, best, costing.profile)
    whole, cost, main, option = _best_trill(
        costing, costing.offered(note.pitch.semitone), costing.offered(other.pitch.semitone)
    )
    if planned - whole < thousandths(costing.profile["grade.instead"]):
        return None, 0.0
    pairs = ((note.pitch, main), (other.pitch, option))
    text = " and ".join(f"{name_of(pitch)} with {new.fingering.valves}" for pitch, new in pairs)
    return text, round((planned - cost) / UNIT, 3)


def _best_trill(costing: Costing, mains: Sequence[Way], options: Sequence[Way]) -> tuple[int, int, Way, Way]:
    """The best pair for a trill: its cost with the price of its fingerings, without it, and the pair."""
    found = []
    for main in mains:
        for option in options:
            price = main.departure + option.departure
            if main.partial == option.partial:
                price = round(price * costing.profile["trill.departure"])
            cost = trill_weight(main, option, costing.profile)
            found.append((cost + price, cost, main, option))
    return min(found, key=lambda item: item[:2])


def _is_good(main: Way, option: Way) -> bool:
    """One partial, one finger."""
    return main.partial == option.partial and (main.mask ^ option.mask).bit_count() == 1


def _kind(other: Neighbour) -> str:
    return "trill to" if other.trilled else "ornament's"
