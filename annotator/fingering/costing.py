"""Costs for one instrument and one profile, worked out once and kept as whole numbers.

A note is known by its ``Approach``, a fingering by its ``Way``; no cost depends on anything else.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

from annotator.fingering import intonation
from annotator.fingering.approach import HELD, PASSING, Approach, Measures, approaches
from annotator.fingering.candidates import candidates
from annotator.fingering.crossing import (
    DEPARTURE,
    UNIT,
    Element,
    elements,
    is_lip_trill,
    thousandths,
    trill_elements,
)
from annotator.fingering.intonation import NOT_PULLED, Setting
from annotator.fingering.model import Fingering, ReadNote, Way
from annotator.fingering.ornaments import Neighbour
from annotator.fingering.profile import Profile
from annotator.instruments import Combination, Instrument

Matrix = tuple[tuple[int, ...], ...]

NOWHERE = 1 << 40
"""The cost of a setting that can't be."""
_C6 = 84
_HIGH_PARTIALS = (9, 10)


class SlideState:
    """Where the slides may stand after a note, and what each setting costs more than the best.

    ``next``: what notes to come do to that, as far as it has been worked out.
    """

    __slots__ = ("costs", "next")

    def __init__(self, costs: tuple[int, ...]) -> None:
        self.costs = costs
        self.next: dict[object, SlideStep] = {}


class SlideStep(NamedTuple):
    """What a note does to a ``SlideState``: for each setting the best before it, and what it adds in all."""

    back: tuple[int, ...]
    state: SlideState
    added: int


class Costing:
    """The cost table applied to a trumpet. All costs are whole thousandths of an awkwardness."""

    def __init__(self, instrument: Instrument, profile: Profile) -> None:
        self.instrument = instrument
        self.profile = profile
        self.slide_move = round(profile["slide.move"] * 1000)
        self.pull_from = profile["slide.from"]
        longest = round(profile.urgency[0][0] * 1000)
        self.urgency = tuple(_urgency(profile.urgency, ms) for ms in range(longest + 1))
        self.measures = Measures(
            longest,
            _grid(self.urgency, self.slide_move),
            profile["intonation.settle"],
            profile["intonation.hold"],
            profile["grace.seconds"],
            profile["tremolo.seconds"],
            lambda semitone: len(self.ways(semitone)) > 1,
        )
        self.shift = thousandths(profile["slide.shift"])
        self.grades = tuple(
            thousandths(profile[key]) for key in ("grade.mild", "grade.awkward", "grade.severe")
        )
        self.heard = profile["slide.heard"]
        self._masks = {item.name: item for item in instrument.combinations}
        self._ways: dict[int, tuple[Way, ...]] = {}
        self._offered: dict[int, tuple[Way, ...]] = {}
        self._crossings: dict[object, tuple[int, int]] = {}
        self._matrices: dict[object, Matrix] = {}
        self._departures: dict[object, tuple[Element, ...]] = {}
        self._owns: dict[object, int] = {}
        self._cents: dict[object, float] = {}
        self._neighbours: dict[object, tuple[int, Way | None]] = {}
        self.held = {
            semitone: next(item for item in candidates(semitone, instrument) if item.valves == valves)
            for semitone, valves in instrument.held
        }
        self.settings = self._settings()
        self.slide_states: dict[tuple[int, ...], SlideState] = {}
        self.slides_home = SlideState(tuple(0 if each == NOT_PULLED else NOWHERE for each in self.settings))
        # The slides that are ever set on this trumpet, as a mask: the others stay home.
        self.moving = sum(
            slide
            for slide, place in ((intonation.FIRST, 0), (intonation.THIRD, 1))
            if any(setting[place] for setting in self.settings)
        )

    def approaches(self, notes: Sequence[ReadNote]) -> list[Approach]:
        """How each note of a line is reached."""
        return approaches(notes, self.measures)

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

    def way(self, semitone: int, fingering: Fingering) -> Way:
        """The way of a pitch that is fingered so."""
        return next(way for way in self.offered(semitone) if way.fingering == fingering)

    def crossing(self, left: Way, reached: Way, approach: Approach) -> int:
        """The cost of one crossing; 0 where the line breaks."""
        if approach.milliseconds is None:
            return 0
        weight, steady = self._crossing(left, reached, approach.slurred)
        urgency = self.urgency[approach.milliseconds]
        if not approach.slurred and not urgency:
            return 0
        return weight * urgency // UNIT + steady

    def elements(self, left: Way, reached: Way, slurred: bool) -> tuple[Element, ...]:
        """See ``crossing.elements``."""
        return elements(left, reached, slurred, self.profile)

    def matrix(self, left: int, approach: Approach) -> Matrix:
        """Crossing costs from a pitch: for each way of the note reached, a row over those of ``left``."""
        key = (left, approach.semitone, approach.milliseconds, approach.slurred)
        found = self._matrices.get(key)
        if found is None:
            found = self._matrices[key] = tuple(
                tuple([self.crossing(a, b, approach) for a in self.ways(left)])
                for b in self.ways(approach.semitone)
            )
        return found

    def change(self, earlier: Way, way: Way) -> int:
        """What another fingering costs than the one the pitch had earlier in the figure."""
        return 0 if earlier is way else thousandths(self.profile["figure.change"])

    def own(self, way: Way, approach: Approach) -> int:
        """The cost of a note by itself: departure from the chart, intonation, weak partials, ornaments."""
        has_time = approach.milliseconds is None or approach.milliseconds >= self.slide_move
        key = (way.semitone, way.place, approach.length, has_time, approach.others, approach.slides)
        cost = self._owns.get(key)
        if cost is None:
            cost = sum(element.cost(self.profile) for element in self.own_elements(way, approach))
            cost += sum(self.best_neighbour(way, other)[0] for other in approach.others)
            cost += self.off(way, approach, self.setting(way, approach))
            self._owns[key] = cost
        return cost

    def own_elements(self, way: Way, approach: Approach) -> list[Element]:
        """What a way of playing costs by itself, ornaments and intonation left out."""
        share = self.profile["trill.departure"] if approach.trilled else 1.0
        found = [item._replace(amount=item.amount * share) for item in self.departure(way)]
        if found and approach.length == HELD and not approach.trilled:
            found.append(Element(DEPARTURE, "departure.held"))
        return found

    def departure(self, way: Way) -> tuple[Element, ...]:
        """What a way costs for not being the chart's."""
        key = (way.semitone, way.place)
        found = self._departures.get(key)
        if found is None:
            found = tuple(self._departure(way.semitone, way.place))
            self._departures[key] = found
        return found

    def setting(self, way: Way, approach: Approach) -> Setting:
        """Where the slides stand on a note; while that is open, in tune where there is time for it."""
        if approach.slides is not None:
            return approach.slides
        has_time = approach.milliseconds is None or approach.milliseconds >= self.slide_move
        if approach.length == PASSING or not has_time:
            return NOT_PULLED
        return intonation.best_setting(way, self.instrument, self.pull_from)

    def slid(self, way: Way) -> int:
        """The valves of a way whose hand slide is ever set, as a mask."""
        return way.mask & self.moving

    def wants_slide(self, way: Way) -> bool:
        """Whether a note played so is sharp enough for a slide to be pulled, and there is one."""
        if way.fingering.cents < self.pull_from:
            return False
        return intonation.usable(way.mask, self.instrument) != 0

    def off(self, way: Way, approach: Approach, setting: Setting) -> int:
        """What being out of tune costs a note with the slides at ``setting``, and its ornament's notes."""
        amounts = self.off_amounts(way, approach, setting)
        return thousandths(sum([self.profile[key] * amount for key, amount in amounts]))

    def off_amounts(self, way: Way, approach: Approach, setting: Setting) -> list[tuple[str, float]]:
        """The same as keys of the cost table and how often each is taken."""
        cents = [self.cents_left(way, setting)]
        for other in approach.others:
            option = self.best_neighbour(way, other)[1] if other.trilled else None
            if option is not None:
                cents.append(self.cents_left(option, setting))
        passing = approach.length == PASSING
        lip = self.profile["intonation.lip-quick" if passing else "intonation.lip"]
        heard = ("intonation.passing", "intonation.settled", "intonation.held")[approach.length]
        share = 1 / len(cents)
        return [
            ("intonation.cent", share * sum([max(0.0, abs(each) - lip) for each in cents])),
            (heard, share * sum([abs(each) for each in cents])),
        ]

    def cents_left(self, way: Way, setting: Setting) -> float:
        """See ``intonation.cents_left``; remembered."""
        key = (way.semitone, way.place, setting)
        found = self._cents.get(key)
        if found is None:
            found = self._cents[key] = intonation.cents_left(way, self.instrument, setting)
        return found

    def best_neighbour(self, way: Way, other: Neighbour) -> tuple[int, Way | None]:
        """The cheapest fingering of an ornament's other note, and the ornament's cost with it."""
        key = (way.semitone, way.place, other.pitch.semitone, other.trilled)
        found = self._neighbours.get(key)
        if found is None:
            costs = [
                (sum(item.cost(self.profile) for item in self.ornament_elements(way, option, other)), place)
                for place, option in enumerate(self.ways(other.pitch.semitone))
            ]
            cost, place = min(costs, default=(0, -1))
            found = (cost, self.ways(other.pitch.semitone)[place] if costs else None)
            self._neighbours[key] = found
        return found

    def ornament_elements(self, way: Way, option: Way, other: Neighbour) -> list[Element]:
        """What an ornament's other note costs, fingered as ``option``."""
        learnt = self.profile["trill.departure"] if option.partial == way.partial else 1.0
        often = 1.0 if other.trilled else self.profile["trill.short-ornament"]
        # A lip trill has one fingering, so its other note has none to learn.
        price = () if is_lip_trill(way, option) else self.departure(option)
        return [
            *(item._replace(amount=item.amount * learnt) for item in price),
            *(item._replace(amount=item.amount * often) for item in trill_elements(way, option)),
        ]

    def trill_cost(self, main: Way, option: Way) -> int:
        """What trilling between two ways costs, the price of the fingerings left out."""
        return sum(item.cost(self.profile) for item in trill_elements(main, option))

    def _settings(self) -> tuple[Setting, ...]:
        """Where the slides are set at all: for each note that wants it, and half way between two such."""
        ways = [
            way
            for semitone in range(self.instrument.low.semitone, self.instrument.high.semitone + 1)
            for way in self.offered(semitone)
            if self.wants_slide(way)
        ]
        return intonation.settings(ways, self.instrument, self.pull_from)

    def _crossing(self, left: Way, reached: Way, slurred: bool) -> tuple[int, int]:
        key = (left.semitone, left.place, reached.semitone, reached.place, slurred)
        found = self._crossings.get(key)
        if found is None:
            costs = [(item.cost(self.profile), item.steady) for item in self.elements(left, reached, slurred)]
            found = (
                sum(cost for cost, steady in costs if not steady),
                sum(cost for cost, steady in costs if steady),
            )
            self._crossings[key] = found
        return found

    def _way(self, semitone: int, place: int, options: Sequence[Fingering]) -> Way:
        combination = self._masks[options[place].valves]
        costs = [(item.key, item.cost(self.profile)) for item in self._departure(semitone, place)]
        third = "departure.third-for-first-second"
        share = self.profile["grade.third-for-first-second"] if third in dict(costs) else 1.0
        departure = sum(cost for _, cost in costs)
        return Way(
            options[place],
            semitone,
            place,
            combination.mask,
            combination.semitones,
            departure,
            thousandths(departure * share / UNIT),
        )

    def _departure(self, semitone: int, place: int) -> list[Element]:
        options = candidates(semitone, self.instrument, self.profile.partials)
        usual, option = options[0], options[place]
        found = []
        if place:
            combination, chart = self._masks[option.valves], self._masks[usual.valves]
            third_alone = _one_for_two(combination, self.instrument)
            if semitone > _C6 and option.partial in _HIGH_PARTIALS and not third_alone:
                found.append(Element(DEPARTURE, "departure.high"))
            elif option.partial != usual.partial:
                found.append(Element(DEPARTURE, "departure.other-partial"))
                if semitone <= _C6 and option.partial >= _HIGH_PARTIALS[0]:
                    found.append(Element(DEPARTURE, "departure.ninth-partial-up"))
            elif third_alone:
                found.append(Element(DEPARTURE, "departure.third-for-first-second"))
            else:
                found.append(Element(DEPARTURE, "departure.same-partial"))
            further = combination.mask.bit_count() - chart.mask.bit_count()
            found.append(Element(DEPARTURE, "departure.further-valve", max(0, further)))
            farther_off = abs(option.cents) - abs(usual.cents) - self.profile["intonation.lip"]
            found.append(Element(DEPARTURE, "departure.cent", max(0.0, farther_off)))
        if option.partial in self.instrument.barred:
            found.append(Element(DEPARTURE, "weak-partial"))
        return [item for item in found if item.amount]


@lru_cache(maxsize=32)
def costing_for(instrument: Instrument, profile: Profile) -> Costing:
    """The costing of an instrument under a profile, made once."""
    return Costing(instrument, profile)


def _one_for_two(combination: Combination, instrument: Instrument) -> bool:
    """Whether one valve does what two do on the chart: the third for 1-2 on a usual trumpet."""
    if combination.mask.bit_count() != 1:
        return False
    alike = next(item for item in instrument.combinations if item.semitones == combination.semitones)
    return alike.mask.bit_count() > 1


def _grid(urgency: Sequence[int], slide_move: int) -> tuple[int, ...]:
    """For each millisecond the longest time that costs the same, so that like times are one."""
    grid = list(range(len(urgency)))
    for ms in range(len(urgency) - 2, -1, -1):
        same = urgency[ms] == urgency[ms + 1]
        if same and (ms >= slide_move or ms + 1 < slide_move):
            grid[ms] = grid[ms + 1]
    return tuple(grid)


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
