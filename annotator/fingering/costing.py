"""Costs for one instrument and one profile, worked out once and kept as whole numbers."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from annotator.fingering.candidates import candidates
from annotator.fingering.crossing import UNIT, Element, Way, elements, thousandths, trill_weight, weight
from annotator.fingering.intonation import SlideSetting, slide_setting
from annotator.fingering.model import Fingering, ReadNote
from annotator.fingering.ornaments import Neighbour, is_tremolo_start, neighbours
from annotator.fingering.profile import Profile
from annotator.instruments import Combination, Instrument

Matrix = tuple[tuple[int, ...], ...]

_C6 = 84
_HIGH_PARTIALS = (9, 10)


@dataclass(frozen=True, slots=True)
class Approach:
    """How a note is reached, all that crossing costs depend on beside the two pitches.

    ``milliseconds`` from the onset before, as ``Costing.grid`` rounds them; None where the line breaks
    (no crossing). ``settled``: the note is long enough for the lip to correct it.
    """

    milliseconds: int | None
    slurred: bool
    settled: bool


class Costing:
    """The cost table applied to a trumpet. All costs are whole thousandths of an awkwardness."""

    def __init__(self, instrument: Instrument, profile: Profile) -> None:
        self.instrument = instrument
        self.profile = profile
        self.longest = round(profile.urgency[0][0] * 1000)
        self.urgency = tuple(_urgency(profile.urgency, ms) for ms in range(self.longest + 1))
        self.slide_move = round(profile["slide.move"] * 1000)
        self.grid = self._grid()
        self.settle = profile["intonation.settle"]
        self.grace = profile["grace.seconds"]
        self.tremolo = profile["tremolo.seconds"]
        self._masks = {item.name: item for item in instrument.combinations}
        self._ways: dict[int, tuple[Way, ...]] = {}
        self._offered: dict[int, tuple[Way, ...]] = {}
        self._weights: dict[tuple[int, int, bool], Matrix] = {}
        self._notes: dict[tuple[int, int, bool, bool, bool], int] = {}
        self._settings: dict[tuple[Fingering, bool], SlideSetting] = {}
        self._elements: dict[tuple[int, int, int, int, bool], tuple[Element, ...]] = {}

    def _grid(self) -> tuple[int, ...]:
        """For each millisecond the longest time that costs the same, so that like times are one."""
        grid = list(range(self.longest + 1))
        for ms in range(self.longest - 1, -1, -1):
            same = self.urgency[ms] == self.urgency[ms + 1]
            if same and (ms >= self.slide_move or ms + 1 < self.slide_move):
                grid[ms] = grid[ms + 1]
        return tuple(grid)

    def ways(self, semitone: int) -> tuple[Way, ...]:
        """What the planner chooses from on a pitch: the usual fingering first. Empty when out of reach."""
        found = self._ways.get(semitone)
        if found is None:
            found = self.offered(semitone)
            self._ways[semitone] = found = found[:1] if self.profile.chart_only else found
        return found

    def offered(self, semitone: int) -> tuple[Way, ...]:
        """Every way there is, for a profile that plans with the chart alone too."""
        found = self._offered.get(semitone)
        if found is None:
            options = candidates(semitone, self.instrument, self.profile.partials)
            found = tuple(self._way(semitone, place, options) for place in range(len(options)))
            self._offered[semitone] = found
        return found

    def approach(self, before: ReadNote | None, note: ReadNote) -> Approach:
        """How ``note`` is reached from ``before`` (None at the start of a line)."""
        settled = note.duration >= self.settle
        if before is None or not note.joined:
            return Approach(None, False, settled)
        slurred = note.slurred
        seconds = note.onset - before.onset
        if (note.grace or before.grace) and seconds < self.grace:
            seconds = self.grace
        if is_tremolo_start(before.ornaments):
            seconds, slurred = min(seconds, self.tremolo), True
        milliseconds = min(self.longest, max(0, int(seconds * 1000 + 0.5)))
        return Approach(self.grid[milliseconds], slurred, settled)

    def crossing(self, left: Way, reached: Way, milliseconds: int, slurred: bool) -> int:
        """The cost of one crossing."""
        weights = self._weights_of(left.semitone, reached.semitone, slurred)
        return weights[reached.place][left.place] * self.urgency[milliseconds] // UNIT

    def matrix(self, left: int, reached: int, approach: Approach) -> Matrix:
        """Crossing costs between two pitches: for each way of ``reached``, a row over those of ``left``."""
        urgency = 0 if approach.milliseconds is None else self.urgency[approach.milliseconds]
        weights = self._weights_of(left, reached, approach.slurred)
        width = len(self.ways(left))
        return tuple(
            tuple(cost * urgency // UNIT for cost in row[:width])
            for row in weights[: len(self.ways(reached))]
        )

    def elements(self, left: Way, reached: Way, slurred: bool) -> tuple[Element, ...]:
        """See ``crossing.elements``; remembered."""
        key = (left.semitone, left.place, reached.semitone, reached.place, slurred)
        found = self._elements.get(key)
        if found is None:
            self._elements[key] = found = elements(left, reached, slurred, self.profile)
        return found

    def _weights_of(self, left: int, reached: int, slurred: bool) -> Matrix:
        key = (left, reached, slurred)
        weights = self._weights.get(key)
        if weights is None:
            weights = tuple(
                tuple(weight(a, b, slurred, self.profile) for a in self.offered(left))
                for b in self.offered(reached)
            )
            self._weights[key] = weights
        return weights

    def note(self, way: Way, approach: Approach, trilled: bool = False) -> int:
        """The cost of a note by itself: departure from the chart, intonation, weak partials."""
        key = (way.semitone, way.place, approach.settled, self._has_time(approach), trilled)
        cost = self._notes.get(key)
        if cost is not None:
            return cost
        setting = self.setting(way.fingering, approach)
        lip = self.profile["intonation.lip" if approach.settled else "intonation.lip-quick"]
        off = max(0.0, abs(setting.cents_left) - lip)
        cost = way.departure + thousandths(off * self.profile["intonation.cent"])
        if way.partial in self.instrument.barred:
            cost += thousandths(self.profile["weak-partial"])
        if trilled:
            cost = thousandths(cost * self.profile["trill.departure"] / UNIT)
        self._notes[key] = cost
        return cost

    def setting(self, fingering: Fingering, approach: Approach) -> SlideSetting:
        """The slide setting, with the time there is to move it."""
        key = (fingering, self._has_time(approach))
        found = self._settings.get(key)
        if found is None:
            found = slide_setting(fingering, self.instrument, self.profile["slide.from"], key[1])
            self._settings[key] = found
        return found

    def _has_time(self, approach: Approach) -> bool:
        return approach.milliseconds is None or approach.milliseconds >= self.slide_move

    def neighbours(self, note: ReadNote) -> tuple[Neighbour, ...]:
        """The other notes of a note's ornaments."""
        return neighbours(note.pitch, note.fifths, note.ornaments) if note.ornaments else ()

    def best_neighbour(self, way: Way, other: Neighbour) -> tuple[int, Way | None]:
        """The cheapest fingering of an ornament's other note, and the ornament's cost with it."""
        best: tuple[int, Way | None] = (0, None)
        for option in self.ways(other.pitch.semitone):
            cost = option.departure
            if option.partial == way.partial:
                cost = thousandths(cost * self.profile["trill.departure"] / UNIT)
            trill = trill_weight(way, option, self.profile)
            if not other.trilled:
                trill = thousandths(trill * self.profile["trill.short-ornament"] / UNIT)
            if best[1] is None or cost + trill < best[0]:
                best = (cost + trill, option)
        return best

    def ornamented(self, way: Way, others: Sequence[Neighbour]) -> int:
        """What the ornaments of a note cost with this way of playing it."""
        return sum(self.best_neighbour(way, other)[0] for other in others)

    def _way(self, semitone: int, place: int, options: Sequence[Fingering]) -> Way:
        usual, option = options[0], options[place]
        combination = self._masks[option.valves]
        chart = self._masks[usual.valves]
        departure, share = 0.0, 1.0
        if option != usual:
            third_alone = _one_for_two(combination, self.instrument)
            if semitone > _C6 and option.partial in _HIGH_PARTIALS and not third_alone:
                departure = self.profile["departure.high"]
            elif option.partial != usual.partial:
                departure = self.profile["departure.other-partial"]
                if semitone <= _C6 and option.partial >= _HIGH_PARTIALS[0]:
                    departure += self.profile["departure.ninth-partial-up"]
            elif third_alone:
                departure = self.profile["departure.third-for-first-second"]
                share = self.profile["grade.third-for-first-second"]
            else:
                departure = self.profile["departure.same-partial"]
            further = combination.mask.bit_count() - chart.mask.bit_count()
            departure += max(0, further) * self.profile["departure.further-valve"]
            farther_off = abs(option.cents) - abs(usual.cents) - self.profile["intonation.lip"]
            departure += max(0.0, farther_off) * self.profile["departure.cent"]
        return Way(
            option,
            semitone,
            place,
            combination.mask,
            combination.semitones,
            thousandths(departure),
            thousandths(departure * share),
        )


@lru_cache(maxsize=32)
def costing_for(instrument: Instrument, profile: Profile) -> Costing:
    """The costing of an instrument under a profile, made once."""
    return Costing(instrument, profile)


def _one_for_two(combination: Combination, instrument: Instrument) -> bool:
    """Whether one valve does what two do on the chart: the third for 1-2 on a usual trumpet."""
    if combination.mask.bit_count() != 1:
        return False
    alike = next(item for item in instrument.combinations if item.semitones == combination.semitones)
    return alike.mask.bit_count() == 2


def _urgency(points: Sequence[tuple[float, float]], milliseconds: int) -> int:
    """The urgency at a time, in thousandths, to the nearest hundredth: straight lines between the points."""
    seconds = milliseconds / 1000
    rising = sorted(points)
    place = bisect_left([point[0] for point in rising], seconds)
    if place == 0:
        return _hundredth(rising[0][1])
    if place == len(rising):
        return _hundredth(rising[-1][1])
    (low, high_factor), (high, low_factor) = rising[place - 1], rising[place]
    share = (seconds - low) / (high - low)
    return _hundredth(high_factor + share * (low_factor - high_factor))


def _hundredth(factor: float) -> int:
    return round(factor * 100) * UNIT // 100
