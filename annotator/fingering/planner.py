"""The planner: the fingering of a whole line with the least total cost.

An exact shortest path (Viterbi's dynamic programme) over the candidates of each note. Costs are whole
numbers, so the state after a note, its candidates' costs less the least of them, takes few values in
real music, and what a note does to a state is worked out once and remembered: a plain passage costs
one look-up a note, forwards and back. Remembering changes no result.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from operator import add

from annotator.fingering.costing import Costing, costing_for
from annotator.fingering.crossing import Way
from annotator.fingering.model import PlayedNote, ReadNote
from annotator.fingering.profile import Profile, load_profile
from annotator.fingering.reach import After, Around, Reach, finished, reach_of
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
class _Step:
    """What a note does to a state. ``back``: for each way of the note the best way before it.

    ``added``: what it adds to the cost of the best plan so far. ``cells`` are those of ``reach``.
    """

    reach: Reach
    cells: list[list[PlayedNote | None]]
    back: tuple[int, ...]
    state: _State
    added: int


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
        costs = steps[-1].state.costs
        chosen = costs.index(min(costs))
        played: list[PlayedNote] = []
        keep = played.append
        place = len(steps)
        for step in reversed(steps):
            place -= 1
            left = step.back[chosen]
            cell = step.cells[left][chosen]
            keep(self._finish(notes, steps, place, (left, chosen), played) if cell is None else cell)
            chosen = left
        played.reverse()
        return tuple(played)

    def _finish(
        self,
        notes: Sequence[ReadNote],
        steps: Sequence[_Step],
        place: int,
        chosen: tuple[int, int],
        later: Sequence[PlayedNote],
    ) -> PlayedNote:
        """The finished note at ``place``; ``later`` holds those after it, the next one last."""
        before = notes[place - 1] if place else None
        after = None
        if later and later[-1].fingering is not None:
            after = After(notes[place + 1], later[-1].fingering, steps[place + 1].reach)
        return finished(self.costing, steps[place].reach, chosen, Around(before, notes[place], after))

    def total(self, notes: Sequence[ReadNote]) -> int:
        """The cost of the best plan, in thousandths of an awkwardness."""
        return sum(step.added for step in self._forward(notes)) if notes else 0

    def _forget(self) -> None:
        self._states: dict[object, _State] = {}
        self._reaches: dict[object, Reach] = {}
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
            self._reaches[pair] = reach = reach_of(self.costing, state.ways, before, note)
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
