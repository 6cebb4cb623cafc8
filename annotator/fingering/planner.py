"""The planner: the fingering of a whole line with the least total cost.

An exact shortest path (Viterbi's dynamic programme) through the lattice of each note's fingerings. Costs
are whole numbers, so where the line stands after a note, its states' costs less the least of them, takes
few values in real music, and what a note does to it is worked out once and remembered: a plain passage
costs one look-up a note, forwards and back. Remembering changes no result, since what is looked up by is
all that costs are made from (``Approach``).

The slides are planned over the fingerings (``slides.py``), and the fingerings again with the cents that
the slides leave where they stand, in turn until neither plan gets cheaper.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from operator import add

from annotator.fingering.approach import Approach
from annotator.fingering.costing import Costing, costing_for
from annotator.fingering.finishing import Situation, finished, plain, situation
from annotator.fingering.lattice import Arrival, Place, arrive
from annotator.fingering.model import PlayedNote, ReadNote, Way
from annotator.fingering.profile import Profile, load_profile
from annotator.fingering.slides import SlidePlan, plan_slides
from annotator.instruments import Instrument

_MOST_KEPT = 40_000
_MOST_ROUNDS = 4


class _State:
    """Where the line stands, and what each way of standing there costs more than the best."""

    __slots__ = ("costs", "next", "place")

    def __init__(self, place: Place, costs: tuple[int, ...]) -> None:
        self.place = place
        self.costs = costs
        self.next: dict[Approach, _Step] = {}


class _Step:
    """What a note does to a state. ``back``: for each state after it the best before it.

    ``added``: what it adds to the cost of the best plan so far. ``chosen``: the note's way in each state;
    ``cells``: the finished note, where it is the same whatever stands around it; ``wants``: whether the
    state's way wants a slide pulled, ``pulls`` whether any does.
    """

    __slots__ = ("added", "back", "cells", "chosen", "pulls", "state", "wants")

    def __init__(
        self,
        back: tuple[int, ...],
        state: _State,
        added: int,
        chosen: tuple[Way | None, ...],
        wants: tuple[bool, ...],
    ) -> None:
        self.back = back
        self.state = state
        self.added = added
        self.chosen = chosen
        self.wants = wants
        self.pulls = any(wants)
        self.cells: list[PlayedNote | None] = [None] * len(back)


class _Line:
    """A line with a plan over it: ``states[i]`` is the state of the best plan after ``steps[i]``.

    ``approaches`` and ``ways`` are those of the plan, and other than the steps' where slides changed it.
    """

    def __init__(
        self, notes: Sequence[ReadNote], approaches: list[Approach], steps: list[_Step], states: list[int]
    ) -> None:
        self.notes = notes
        self.planned = self.approaches = approaches
        self.steps = steps
        self.states = states
        self._ways: list[Way | None] = []

    @property
    def wants_slides(self) -> bool:
        rows = zip(self.steps, self.states, strict=True)
        return any(step.pulls and step.wants[state] for step, state in rows)

    @property
    def ways(self) -> list[Way | None]:
        if not self._ways:
            self._ways = self.chosen()
        return self._ways

    @ways.setter
    def ways(self, ways: list[Way | None]) -> None:
        self._ways = ways

    def chosen(self) -> list[Way | None]:
        return [step.chosen[state] for step, state in zip(self.steps, self.states, strict=True)]

    def changed(self) -> Iterator[int]:
        """Where the slides stand or changed the plan: what the steps know of these notes holds no more."""
        rows = zip(self.planned, self.approaches, self.chosen(), self.ways, strict=True)
        last = False
        for place, (planned, approach, chosen, way) in enumerate(rows):
            here = planned is not approach or chosen is not way
            if here or last:
                yield place
            last = here


def _phrases(approaches: Sequence[Approach], places: Sequence[int]) -> Iterator[slice]:
    """The stretches between breaks that have one of ``places`` (in order) in them."""
    end = 0
    for place in places:
        if place < end:
            continue
        start = place
        while start and approaches[start].milliseconds is not None:
            start -= 1
        end = place + 1
        while end < len(approaches) and approaches[end].milliseconds is not None:
            end += 1
        yield slice(start, end)


def plan(
    notes: Sequence[ReadNote], instrument: Instrument, profile: Profile | str = "orchestral"
) -> tuple[PlayedNote, ...]:
    """What to do on each of ``notes``, in order: the plan of least total cost.

    ``notes`` is one line, sorted by onset. ``profile``: a Profile, or the name of one that comes
    with the program. A note out of reach gets no fingering; the line breaks there.
    Raises BadOption for an unknown profile name.
    """
    return planner_for(instrument, profile).plan(notes)


def planner_for(instrument: Instrument, profile: Profile | str = "orchestral") -> Planner:
    """The planner of an instrument and a profile, made once."""
    return _planner(instrument, load_profile(profile) if isinstance(profile, str) else profile)


@lru_cache(maxsize=16)
def _planner(instrument: Instrument, profile: Profile) -> Planner:
    return Planner(costing_for(instrument, profile))


class Planner:
    """Plans lines for one instrument and profile, and remembers what it has worked out."""

    def __init__(self, costing: Costing) -> None:
        self.costing = costing
        self._forget()

    def plan(self, notes: Sequence[ReadNote]) -> tuple[PlayedNote, ...]:
        """See ``plan``."""
        if not notes:
            return ()
        line = self._planned(notes, self.costing.approaches(notes))
        slides = self._with_slides(line) if line.wants_slides else None
        return self._finish(line, slides)

    def total(self, notes: Sequence[ReadNote]) -> int:
        """The cost of the best plan with the slides where each note would have them, in thousandths."""
        return self.cost(self.costing.approaches(notes))

    def cost(self, approaches: Sequence[Approach]) -> int:
        """The cost of the best plan over a line of approaches, in thousandths of an awkwardness."""
        return sum(step.added for step in self._forward(approaches))

    def ways(self, approaches: Sequence[Approach]) -> list[Way | None]:
        """The best plan over a line of approaches: the way of each note, None out of reach."""
        return self._planned((), list(approaches)).ways if approaches else []

    def _with_slides(self, line: _Line) -> SlidePlan:
        """Plan the slides, and the fingerings with the slides where they stand, in turn until each plan is
        the best for the other. ``line`` is left with the approaches and ways so found."""
        ways, open_approaches = line.ways, line.approaches
        slides = plan_slides(self.costing, line.notes, open_approaches, ways)
        for round_ in range(_MOST_ROUNDS + 1):
            line.approaches = approaches = list(open_approaches)
            for place in slides.standing:
                approaches[place] = approaches[place]._replace(slides=slides.settings[place])
            if round_ == _MOST_ROUNDS:
                break
            replanned = list(ways)
            # A break parts the fingerings of a line, so only the phrases with a slide in them go again.
            for phrase in _phrases(approaches, slides.standing):
                replanned[phrase] = self.ways(approaches[phrase])
            if replanned == ways:
                break
            ways = replanned
            slides = plan_slides(self.costing, line.notes, open_approaches, ways)
        line.ways = ways
        return slides

    def _planned(self, notes: Sequence[ReadNote], approaches: list[Approach]) -> _Line:
        steps = self._forward(approaches)
        costs = steps[-1].state.costs
        chosen = costs.index(min(costs))
        states: list[int] = []
        keep = states.append
        for step in reversed(steps):
            keep(chosen)
            chosen = step.back[chosen]
        states.reverse()
        return _Line(notes, approaches, steps, states)

    def _finish(self, line: _Line, slides: SlidePlan | None) -> tuple[PlayedNote, ...]:
        cells = [step.cells[state] for step, state in zip(line.steps, line.states, strict=True)]
        again = set() if slides is None else set(line.changed())
        played: list[PlayedNote] = []
        for place, cell in enumerate(cells):
            if cell is not None and place not in again:
                played.append(cell)
            else:
                played.append(self._finished_note(line, place, slides, keep=place not in again))
        return tuple(played)

    def _finished_note(self, line: _Line, place: int, slides: SlidePlan | None, keep: bool) -> PlayedNote:
        ways = line.ways
        found = None
        if slides is None or not (slides.moved[place] or slides.trouble[place]):
            key = (ways[place - 1] if place else None, ways[place], line.approaches[place])
            found = self._plain.get(key)
            if found is None:
                found = plain(self.costing, *key)
                if found is not None:
                    self._plain[key] = found
        if found is None:
            return self._told(situation(line.notes, line.approaches, ways, slides, place))
        if keep:
            line.steps[place].cells[line.states[place]] = found
        return found

    def _told(self, situation: Situation) -> PlayedNote:
        found = self._finished.get(situation)
        if found is None:
            if len(self._finished) > _MOST_KEPT:
                self._finished.clear()
            self._finished[situation] = found = finished(self.costing, situation)
        return found

    def _forget(self) -> None:
        self._states: dict[object, _State] = {}
        self._arrivals: dict[object, Arrival] = {}
        self._finished: dict[Situation, PlayedNote] = {}
        self._plain: dict[tuple[Way | None, Way | None, Approach], PlayedNote] = {}
        self._made = 0
        self._start = _State(Place(), (0,))

    def _forward(self, approaches: Sequence[Approach]) -> list[_Step]:
        steps: list[_Step] = []
        keep = steps.append
        state = self._start
        for approach in approaches:
            found = state.next.get(approach)
            step = found if found is not None else self._step(state, approach)
            keep(step)
            state = step.state
        return steps

    def _step(self, state: _State, approach: Approach) -> _Step:
        """Work out what a note does to ``state``: the inner step of the dynamic programme."""
        if self._made > _MOST_KEPT:
            self._forget()
        key = (state.place, approach)
        arrival = self._arrivals.get(key)
        if arrival is None:
            self._arrivals[key] = arrival = arrive(self.costing, state.place, approach)
        costs = state.costs
        back, reached = [], []
        for row in arrival.rows or ():
            sums = list(map(add, costs, row))
            least = min(sums)
            back.append(sums.index(least))
            reached.append(least)
        for sources in arrival.sources if arrival.rows is None else ():
            least, best = min([(costs[source] + cost, source) for source, cost in sources])
            back.append(best)
            reached.append(least)
        added = min(reached)
        relative = tuple([cost - added for cost in reached])
        found = (arrival.place, relative)
        target = self._states.get(found)
        if target is None:
            self._states[found] = target = _State(arrival.place, relative)
        ways = self.costing.ways(approach.semitone) or (None,)
        chosen = tuple(ways[number % len(ways)] for number in range(len(back)))
        wants = tuple([way is not None and self.costing.wants_slide(way) for way in chosen])
        step = _Step(tuple(back), target, added, chosen, wants)
        state.next[approach] = step
        self._made += 1
        return step
