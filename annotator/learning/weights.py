"""The smallest change of a profile's weights under which the planner plays as a player has marked.

Structured learning by cutting planes. The cost of a plan is weights times counts
(``fingering/features.py``), so "the marked fingering is cheaper than that one, by a margin" is a linear
inequality over the weights. A linear programme (HiGHS, by way of scipy) finds weights near the old ones, in
the sum of relative changes, that break few of them; the exact planner then looks for plans that are cheaper
still than the marked ones, which give new inequalities, until there are none. A marked note may break its
inequalities at a price, so that a slip of the pencil bends nothing; what stays broken is told.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from annotator.extras import extras
from annotator.fingering.approach import Approach
from annotator.fingering.costing import Costing
from annotator.fingering.features import features
from annotator.fingering.model import Way
from annotator.fingering.planner import Planner, planner_for
from annotator.fingering.profile import Profile
from annotator.instruments import Instrument
from annotator.learning.examples import Phrase
from annotator.learning.fixed import best_with

FARTHEST = 4
"""How many notes back a figure's earlier fingering of a pitch may lie (``fingering/approach.py``)."""

MARGIN = 0.05
"""Awkwardness by which what is marked is to be cheaper, so that it does not hang on rounding."""

CHANGE_PRICES = (10.0, 30.0)
"""What changing a weight by its own size may cost, in marked notes that are played otherwise by the margin:
a low price learns slips of the pencil, a high one learns slowly."""

FOLDS = 3
SMALLEST_SCALE = 0.2
"""Awkwardness: a weight near nothing is changed as easily as one of this size."""

LARGEST_WEIGHT = 6.0
BEYOND = 4.0  # margins by which a marked note is beyond explaining
CLOSER = 8.0
MOST_ROUNDS = 24


@dataclass(frozen=True, slots=True)
class Unexplained:
    """A marked note that no weights explain with the others: where, what is marked, what is played."""

    where: str
    marked: str
    played: str


@dataclass(frozen=True, slots=True)
class Learnt:
    """``profile`` plays as was marked, but for ``unexplained``. ``changes``: (key, before, after), greatest
    change first."""

    profile: Profile
    changes: tuple[tuple[str, float, float], ...]
    unexplained: tuple[Unexplained, ...]
    price: float


@dataclass(frozen=True, slots=True)
class _Cut:
    """``counts`` of another plan less those of the marked one must cost a margin for each of ``notes``."""

    counts: tuple[tuple[str, float], ...]
    notes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Case:
    """A phrase with its approaches; ``first``: the number of its first note among all."""

    phrase: Phrase
    approaches: tuple[Approach, ...]
    first: int


def learn(phrases: Sequence[Phrase], instrument: Instrument, base: Profile, name: str = "own") -> Learnt:
    """Learn from ``phrases``, starting from ``base``. Raises MissingExtra where scipy is not installed.

    How much a change is to cost is chosen by what the phrases say of each other: learnt from some of them,
    the rest is to be played as marked.
    """
    start = replace(base, name=name, chart_only=False)
    tried = {price: seen_by_others(phrases, instrument, start, price)[0] for price in CHANGE_PRICES}
    price = max(tried, key=lambda price: (tried[price], price))
    profile = start
    # What does not hold on phrases it was not learnt from is no preference.
    if tried[price] > agreement(phrases, instrument, start)[0]:
        profile = rounded(fit(phrases, instrument, start, price))
    unexplained = tuple(_unexplained(phrases, planner_for(instrument, profile)))
    return Learnt(profile, _changes(base, profile), unexplained, price)


def seen_by_others(
    phrases: Sequence[Phrase], instrument: Instrument, start: Profile, price: float
) -> tuple[int, int]:
    """The agreement on phrases that were not learnt from, each fold of them by what the others teach."""
    agreed = marked = 0
    for fold in range(FOLDS):
        unseen = phrases[fold::FOLDS]
        seen = [phrase for number, phrase in enumerate(phrases) if number % FOLDS != fold]
        if not seen or not unseen:
            continue
        found = agreement(unseen, instrument, fit(seen, instrument, start, price))
        agreed, marked = agreed + found[0], marked + found[1]
    return agreed, marked


def fit(phrases: Sequence[Phrase], instrument: Instrument, start: Profile, price: float) -> Profile:
    """Weights for ``phrases`` at a ``price`` of change; marks beyond explaining are passed over."""
    costing = planner_for(instrument, start).costing
    cases, first = [], 0
    for phrase in phrases:
        cases.append(_Case(phrase, tuple(costing.approaches(phrase.notes)), first))
        first += len(phrase.notes)
    most = max(1, sum(phrase.marked for phrase in phrases) // 40)
    profile, doubted, settled = start, set[int](), False
    cuts: dict[_Cut, _Case] = {}
    for _ in range(MOST_ROUNDS):
        planner, before = planner_for(instrument, profile), len(cuts)
        for case in cases:
            for cut in _cuts(planner, case, doubted):
                cuts.setdefault(cut, case)
        if len(cuts) == before:
            if settled:
                break
            settled = True  # the slips are known: what is left may be followed more closely
        profile, slack = _solve(start, list(cuts), price / CLOSER if settled else price)
        if settled:
            continue
        # The worst first: a slip of the pencil makes its neighbours look wrong as well.
        worst = sorted((-by, note) for note, by in slack.items() if by > BEYOND)[:most]
        if worst:
            doubted |= {note for _, note in worst}
            touched = {id(case) for cut, case in cuts.items() if doubted.intersection(cut.notes)}
            cuts = {cut: case for cut, case in cuts.items() if id(case) not in touched}
    return profile


def agreement(phrases: Sequence[Phrase], instrument: Instrument, profile: Profile) -> tuple[int, int]:
    """On how many of the marked notes the planner plays what is marked, and how many there are."""
    planner = planner_for(instrument, profile)
    agreed = marked = 0
    for phrase in phrases:
        for played, printed in zip(planner.plan(phrase.notes), phrase.printed, strict=True):
            if printed:
                marked += 1
                agreed += played.fingering is not None and played.fingering.valves == printed
    return agreed, marked


def _cuts(planner: Planner, case: _Case, doubted: set[int]) -> list[_Cut]:
    """The inequalities that the marked plan asks for under the weights at hand."""
    costing, approaches = planner.costing, case.approaches
    asked = ["" if case.first + n in doubted else valves for n, valves in enumerate(case.phrase.printed)]
    marked = best_with(costing, approaches, asked)
    found = []
    for place, (way, printed) in enumerate(zip(marked, asked, strict=True)):
        if not printed or way is None or way.fingering.valves != printed:
            continue
        for other in costing.ways(way.semitone):
            if other.fingering.valves != printed:
                found.append(_cut(costing, case, marked, {place: other}))
    best = planner.ways(approaches)
    differing = {
        place: way
        for place, (way, printed) in enumerate(zip(best, asked, strict=True))
        if printed and way is not None and way is not marked[place]
    }
    if differing:
        found.append(_cut(costing, case, marked, dict(enumerate(best)), tuple(differing)))
    return [cut for cut in found if cut.counts]


def _cut(
    costing: Costing,
    case: _Case,
    marked: list[Way | None],
    instead: dict[int, Way] | dict[int, Way | None],
    notes: tuple[int, ...] = (),
) -> _Cut:
    """What ``instead`` costs otherwise than what is marked, looked at where that makes a difference."""
    low, high = max(0, min(instead) - FARTHEST), min(len(marked), max(instead) + FARTHEST + 1)
    other = [instead.get(place, way) for place, way in enumerate(marked)]
    there = features(costing, case.approaches[low:high], other[low:high])
    here = features(costing, case.approaches[low:high], marked[low:high])
    difference = {key: round(there.get(key, 0.0) - here.get(key, 0.0), 4) for key in sorted({*there, *here})}
    exact = tuple((key, value) for key, value in difference.items() if value)
    return _Cut(exact, tuple(case.first + place for place in notes or instead))


def _solve(start: Profile, cuts: Sequence[_Cut], change_price: float) -> tuple[Profile, dict[int, float]]:
    """The weights, and by how many margins each note breaks what it asks for."""
    with extras("learning a hand"):
        from scipy.optimize import linprog  # noqa: PLC0415 - a large library, for learning only
        from scipy.sparse import coo_array  # noqa: PLC0415
    keys = sorted({key for cut in cuts for key, _ in cut.counts})
    notes = sorted({note for cut in cuts for note in cut.notes})
    if not keys:
        return start, {}
    # Columns: what each weight gains, what it loses, by how much each note breaks.
    column = {key: place for place, key in enumerate(keys)}
    slack = {note: 2 * len(keys) + place for place, note in enumerate(notes)}
    rows, columns, values, least = [], [], [], []
    for row, cut in enumerate(cuts):
        due = MARGIN * len(cut.notes)
        for key, amount in cut.counts:
            rows += [row, row]
            columns += [column[key], len(keys) + column[key]]
            values += [-amount, amount]
            due -= amount * start[key]
        for note in cut.notes:
            rows.append(row)
            columns.append(slack[note])
            values.append(-MARGIN)
        least.append(-due)
    scale = [max(start[key], SMALLEST_SCALE) for key in keys]
    price = [change_price / each for each in scale]
    bounds: list[tuple[float, float | None]] = [(0.0, max(0.0, LARGEST_WEIGHT - start[key])) for key in keys]
    bounds += [(0.0, start[key]) for key in keys] + [(0.0, None)] * len(notes)
    table = coo_array((values, (rows, columns)), shape=(len(cuts), 2 * len(keys) + len(notes)))
    solved = linprog([*price, *price, *([1.0] * len(notes))], table, least, bounds=bounds, method="highs")
    weights = {
        key: start[key] + float(solved.x[column[key]]) - float(solved.x[len(keys) + column[key]])
        for key in keys
    }
    return _with(start, weights.get), {note: float(solved.x[place]) for note, place in slack.items()}


def _with(profile: Profile, weight: Callable[[str], float | None]) -> Profile:
    def value(key: str, old: float) -> float:
        new = weight(key)
        return old if new is None or abs(new - old) < 1e-9 else max(0.0, new)

    return replace(
        profile, costs=tuple(replace(cost, value=value(cost.key, cost.value)) for cost in profile.costs)
    )


def rounded(profile: Profile) -> Profile:
    """Weights as one writes them: to thousandths, small ones to ten-thousandths."""
    return _with(profile, lambda key: round(profile[key], 3 if profile[key] >= 0.1 else 4))


def _changes(before: Profile, after: Profile) -> tuple[tuple[str, float, float], ...]:
    found = [
        (cost.key, before[cost.key], cost.value) for cost in after.costs if before[cost.key] != cost.value
    ]
    return tuple(sorted(found, key=lambda item: -abs(item[2] - item[1]) / max(item[1], SMALLEST_SCALE)))


def _unexplained(phrases: Sequence[Phrase], planner: Planner) -> list[Unexplained]:
    found = []
    for phrase in phrases:
        played = planner.plan(phrase.notes)
        for note, printed, where in zip(played, phrase.printed, phrase.where, strict=True):
            valves = note.fingering.valves if note.fingering is not None else "nothing"
            if printed and valves != printed:
                found.append(Unexplained(where, printed, valves))
    return found
