"""The planner: the fingering of a whole line with the least total cost.

An exact shortest path (Viterbi's dynamic programme) over the candidates of each note. Costs are whole
numbers, so the state after a note, its candidates' costs less the least of them, takes few values in
real music, and what a note does to a state is worked out once and remembered: a plain passage costs
one look-up a note, forwards and back. Remembering changes no result.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from operator import add

from annotator.fingering import sentences
from annotator.fingering.candidates import out_of_reach
from annotator.fingering.costing import Approach, Costing, Matrix, costing_for
from annotator.fingering.crossing import Way
from annotator.fingering.model import Auxiliary, Crossing, PlayedNote, ReadNote
from annotator.fingering.ornaments import Neighbour
from annotator.fingering.profile import Profile, load_profile
from annotator.instruments import Instrument
from annotator.pitch import STEP_SEMITONES, STEPS

_NATURAL = dict(zip(STEPS, STEP_SEMITONES, strict=True))
_MOST_KEPT = 40_000
_BREAK = 1 << 40


class _State:
    """Where the line stands: the ways of the last note and what each costs more than the best."""

    __slots__ = ("costs", "next", "ways")

    def __init__(self, ways: tuple[Way, ...], costs: tuple[int, ...]) -> None:
        self.ways = ways
        self.costs = costs
        self.next: dict[object, _Step] = {}


@dataclass(slots=True, eq=False)
class _Reach:
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


@dataclass(slots=True, eq=False)
class _Step:
    """What a note does to a state. ``back``: for each way of the note the best way before it.

    ``added``: what it adds to the cost of the best plan so far. ``cells`` are those of ``reach``.
    """

    reach: _Reach
    cells: list[list[PlayedNote | None]]
    back: tuple[int, ...]
    state: _State
    added: int


@dataclass(frozen=True, slots=True)
class _Line:
    notes: Sequence[ReadNote]
    steps: Sequence[_Step]


def plan(
    notes: Sequence[ReadNote], instrument: Instrument, profile: Profile | str = "orchestral"
) -> tuple[PlayedNote, ...]:
    """What to do on each of ``notes``, in order: the plan of least total cost.

    ``notes`` is one line, sorted by onset. ``profile``: a Profile, or the name of one that comes
    with the program. A note out of reach gets no fingering and a ``why``; the line breaks there.
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
        self._longest = costing.longest
        self._settle = costing.settle
        self._forget()

    def plan(self, notes: Sequence[ReadNote]) -> tuple[PlayedNote, ...]:
        """See ``plan``."""
        if not notes:
            return ()
        steps = self._forward(notes)
        line = _Line(notes, steps)
        costs = steps[-1].state.costs
        chosen = costs.index(min(costs))
        played: list[PlayedNote] = []
        keep = played.append
        place = len(steps)
        for step in reversed(steps):
            place -= 1
            left = step.back[chosen]
            cell = step.cells[left][chosen]
            keep(self._fill(line, place, left, chosen, played) if cell is None else cell)
            chosen = left
        played.reverse()
        return tuple(played)

    def total(self, notes: Sequence[ReadNote]) -> int:
        """The cost of the best plan, in thousandths of an awkwardness."""
        return sum(step.added for step in self._forward(notes)) if notes else 0

    def _forget(self) -> None:
        self._states: dict[object, _State] = {}
        self._reaches: dict[object, _Reach] = {}
        self._made = 0
        self._start = _State((), (0,))

    def _forward(self, notes: Sequence[ReadNote]) -> list[_Step]:
        steps: list[_Step] = []
        keep = steps.append
        state = self._start
        before: ReadNote | None = None
        last = 0.0
        special = True
        longest, settle, grid = self._longest, self._settle, self.costing.grid
        for note in notes:
            onset = note.onset
            if special or note.grace or note.ornaments:
                step = self._special(state, before, note)
                special = note.grace or bool(note.ornaments)
            else:
                pitch = note.pitch
                semitone = (pitch.octave + 1) * 12 + _NATURAL[pitch.step] + pitch.alter
                if note.joined:
                    # The sum of what a plain note's costs depend on, in one whole number.
                    time = int((onset - last) * 1000.0 + 0.5)
                    if time > longest:
                        time = longest
                    elif time < 0:
                        time = 0
                    key = (grid[time] * 2 + note.slurred) * 512 + semitone
                else:
                    key = _BREAK + semitone
                if note.duration >= settle:
                    key += 256
                found = state.next.get(key)
                step = found if found is not None else self._step(state, key, before, note)
            keep(step)
            state = step.state
            before = note
            last = onset
        return steps

    def _special(self, state: _State, before: ReadNote | None, note: ReadNote) -> _Step:
        """A step for a note with ornaments or grace, or after one, or at the start."""
        key = (
            self.costing.approach(before, note),
            note.pitch.semitone,
            self.costing.neighbours(note),
        )
        found = state.next.get(key)
        return found if found is not None else self._step(state, key, before, note)

    def _step(self, state: _State, key: object, before: ReadNote | None, note: ReadNote) -> _Step:
        """Work out what ``note`` does to ``state``: the inner step of the dynamic programme."""
        if self._made > _MOST_KEPT:
            self._forget()
        pair = (state.ways[0].semitone if state.ways else None, key)
        reach = self._reaches.get(pair)
        if reach is None:
            self._reaches[pair] = reach = self._reach(state.ways, before, note)
        costs = state.costs
        if reach.rows:
            back, reached = [], []
            for row, own in zip(reach.rows, reach.own, strict=True):
                sums = list(map(add, costs, row))
                least = min(sums)
                back.append(sums.index(least))
                reached.append(least + own)
        else:
            # A break: whatever comes, the line before it ends in its cheapest way (which costs 0 here).
            back = [costs.index(0)] * len(reach.own)
            reached = list(reach.own)
        added = min(reached)
        relative = tuple([cost - added for cost in reached])
        found = (note.pitch.semitone, relative)
        target = self._states.get(found)
        if target is None:
            self._states[found] = target = _State(reach.ways, relative)
        step = _Step(reach, reach.cells, tuple(back), target, added)
        state.next[key] = step
        self._made += 1
        return step

    def _reach(self, left: tuple[Way, ...], before: ReadNote | None, note: ReadNote) -> _Reach:
        costing = self.costing
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
        return _Reach(left, ways, approach, others, rows, own or (0,), cells)

    def _fill(
        self, line: _Line, place: int, left: int, chosen: int, later: Sequence[PlayedNote]
    ) -> PlayedNote:
        """The finished note at ``place``; ``later`` holds those after it, the next one last."""
        notes, steps = line.notes, line.steps
        reach, note = steps[place].reach, notes[place]
        if not reach.ways:
            return PlayedNote(None, why=out_of_reach(note.pitch.semitone, self.costing.instrument))
        way = reach.ways[chosen]
        if reach.severity < 0:
            reach.severity = self._severity(reach)
        trill = sentences.trill_flag(self.costing, note, way, reach.others)
        flagged = sentences.grade_of(self.costing, reach.severity) > 0
        if not flagged and trill is None and way.departure == 0:
            reach.cells[left][chosen] = found = self._finished(reach, way)
            return found
        into = out = None
        if reach.left and place:
            into = sentences.Move(notes[place - 1], note, reach.left[left], way, reach.approach)
        if way.departure and later and later[-1].fingering:
            following, onward = later[-1].fingering, steps[place + 1].reach
            after = next(item for item in onward.ways if item.fingering == following)
            out = sentences.Move(note, notes[place + 1], way, after, onward.approach)
        key = (
            left,
            chosen,
            note.pitch,
            into and (into.before.pitch, sentences.pace(into.before, note)),
            out and (out.reached, out.approach, out.note.pitch, sentences.pace(note, out.note)),
        )
        kept = reach.texts.get(key)
        if kept is not None:
            return kept
        flag = sentences.crossing_flag(self.costing, into, reach.severity) if into and flagged else None
        why = ""
        if way.departure:
            why = sentences.departure(
                self.costing, way, into, out, sentences.trill_reason(self.costing, way, reach.others)
            )
        self._made += 1
        reach.texts[key] = found = self._finished(reach, way, sentences.both(flag, trill), why)
        return found

    def _severity(self, reach: _Reach) -> int:
        """The least cost of getting across, alternates counted at part of their price: what a flag goes by.

        It does not depend on the rest of the line, and less time never lowers it.
        """
        return min(
            (
                cost + a.flag_departure + b.flag_departure
                for b, row in zip(reach.ways, reach.rows, strict=False)
                for a, cost in zip(reach.left, row, strict=True)
            ),
            default=0,
        )

    def _finished(
        self, reach: _Reach, way: Way, crossing: Crossing | None = None, why: str = ""
    ) -> PlayedNote:
        setting = self.costing.setting(way.fingering, reach.approach)
        offered = self.costing.offered(way.semitone)
        auxiliaries = []
        for other in reach.others:
            best = self.costing.best_neighbour(way, other)[1]
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
