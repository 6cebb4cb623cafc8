"""Where the hand slides stand along a line: a plan of their own over its fingerings.

A slide stays where it is until the hand has time to move it (``slide.move`` of the cost table), so over a
fast figure one setting is held, the best for all of it. Not used for ``slide.rest`` it goes home, all the
way in. The plan is the cheapest of all there are over the instrument's settings: an exact dynamic programme.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from annotator.fingering import intonation
from annotator.fingering.approach import Approach
from annotator.fingering.costing import NOWHERE, Costing, SlideState, SlideStep
from annotator.fingering.intonation import FIRST, NOT_PULLED, THIRD, Setting
from annotator.fingering.model import ReadNote, Way

_SLACK = 1e-9
"""Seconds: onsets are sums of fractions."""


@dataclass(frozen=True, slots=True)
class SlidePlan:
    """For each note of a line: the ``settings`` of the slides, whether they are ``moved`` for it, and
    ``trouble`` (see ``model.Slides``). ``cost`` of notes out of tune and of moves, in thousandths.
    ``standing``: the places of notes that use a slide, or have one out."""

    settings: tuple[Setting, ...]
    moved: tuple[bool, ...]
    trouble: tuple[str, ...]
    cost: int
    standing: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Use:
    """A note that uses a slide. ``place`` in the line; ``slides``: which, as a mask of their valves.

    ``free``: those the hand has had time to move since they were last used; ``rested``: it had so much
    time that they have gone home. ``wanted``: the note wants one pulled; nobody moves one out for another.
    """

    place: int
    way: Way
    approach: Approach
    slides: int
    free: int
    rested: int
    wanted: bool


def plan_slides(
    costing: Costing,
    notes: Sequence[ReadNote],
    approaches: Sequence[Approach],
    ways: Sequence[Way | None],
) -> SlidePlan:
    """The cheapest settings over a line fingered as ``ways``; the least pull where several are as cheap."""
    uses = line_uses(costing, notes, approaches, ways)
    state: SlideState = costing.slides_home
    steps: list[SlideStep] = []
    for use in uses:
        key = (
            use.way,
            use.approach.length,
            use.approach.others,
            use.slides,
            use.free,
            use.rested,
            use.wanted,
        )
        step = state.next.get(key)
        if step is None:
            step = state.next[key] = _step(costing, state, use)
        steps.append(step)
        state = step.state
    chosen = state.costs.index(min(state.costs))
    held: list[Setting] = []
    for step in reversed(steps):
        held.append(costing.settings[chosen])
        chosen = step.back[chosen]
    held.reverse()
    return _laid_out(costing, uses, held, len(notes), sum(step.added for step in steps))


def _step(costing: Costing, state: SlideState, use: Use) -> SlideStep:
    """What a note that uses a slide does to where the slides may stand: the step of the dynamic programme."""
    arrived: list[int] = []
    back: list[int] = []
    for reached in costing.settings:
        own = costing.off(use.way, use.approach, reached)
        least, source = min(
            (state.costs[number] + cost, number) for number, cost in _moves_to(costing, reached, use)
        )
        arrived.append(least + own)
        back.append(source)
    added = min(arrived)
    found = tuple(min(cost - added, NOWHERE) for cost in arrived)
    target = costing.slide_states.setdefault(found, SlideState(found))
    return SlideStep(tuple(back), target, added)


def line_uses(
    costing: Costing,
    notes: Sequence[ReadNote],
    approaches: Sequence[Approach],
    ways: Sequence[Way | None],
) -> list[Use]:
    """The notes of a line that use a slide, with the time there was to move it.

    Those of stretches, from one rest of the slides to the next, in which no note wants one are left out:
    there they stay home.
    """
    stretches: list[list[Use]] = []
    for use in _all_uses(costing, notes, approaches, ways):
        if not stretches or use.rested == costing.moving:
            stretches.append([])
        stretches[-1].append(use)
    wanted = [stretch for stretch in stretches if any(use.wanted for use in stretch)]
    return [use for stretch in wanted for use in stretch]


def _all_uses(
    costing: Costing,
    notes: Sequence[ReadNote],
    approaches: Sequence[Approach],
    ways: Sequence[Way | None],
) -> Iterator[Use]:
    move, rest = costing.profile["slide.move"], costing.profile["slide.rest"]
    last: dict[int, float] = {}
    for place, (note, approach, way) in enumerate(zip(notes, approaches, ways, strict=True)):
        if way is None:
            continue
        slides, wanted = costing.slid(way), costing.wants_slide(way)
        for other in approach.others:
            option = costing.best_neighbour(way, other)[1] if other.trilled else None
            slides |= costing.slid(option) if option is not None else 0
            wanted = wanted or (option is not None and costing.wants_slide(option))
        if not slides:
            continue
        free = rested = 0
        for slide in (FIRST, THIRD):
            passed = note.onset - last.get(slide, float("-inf"))
            rested |= slide if passed >= rest else 0
            if slides & slide:
                free |= slide if passed >= move - _SLACK else 0
                last[slide] = note.onset
        yield Use(place, way, approach, slides, free, rested & costing.moving, wanted)


def _moves_to(costing: Costing, reached: Setting, use: Use) -> list[tuple[int, int]]:
    """The settings from which ``reached`` can be set at ``use``, by number, and what that costs."""
    moves = [move_cost(costing, before, reached, use) for before in costing.settings]
    return [(number, NOWHERE if cost is None else cost) for number, cost in enumerate(moves)]


def move_cost(costing: Costing, before: Setting, after: Setting, use: Use) -> int | None:
    """Thousandths for going from one setting to another at ``use``; None where there is no time for it.

    A slide that is not used here stays; one that has gone home is set from there.
    """
    moves = 0
    for slide, old, new in ((FIRST, before[0], after[0]), (THIRD, before[1], after[1])):
        stood = 0 if use.rested & slide else old
        if new != stood:
            if not use.slides & use.free & slide or (new > stood and not use.wanted):
                return None
            moves += 1
    return moves * costing.shift


def _laid_out(
    costing: Costing, uses: Sequence[Use], held: Sequence[Setting], count: int, cost: int
) -> SlidePlan:
    """The settings note by note: between two uses a slide stays where both want it, else it goes home."""
    settings: list[Setting] = [NOT_PULLED] * count
    moved, trouble = [False] * count, [""] * count
    stood = NOT_PULLED
    for number, (use, setting) in enumerate(zip(uses, held, strict=True)):
        following = uses[number + 1] if number + 1 < len(uses) else None
        settings[use.place] = setting
        home = (
            0 if use.rested & FIRST else stood[0],
            0 if use.rested & THIRD else stood[1],
        )
        moved[use.place] = setting != home
        trouble[use.place] = _trouble(costing, use, setting)
        stays = following is not None and not following.rested and held[number + 1] == setting
        if stays and following is not None:
            for place in range(use.place + 1, following.place):
                settings[place] = setting
        stood = setting
    used = {use.place for use in uses}
    standing = [place for place, setting in enumerate(settings) if place in used or setting != NOT_PULLED]
    return SlidePlan(tuple(settings), tuple(moved), tuple(trouble), cost, tuple(standing))


def _trouble(costing: Costing, use: Use, setting: Setting) -> str:
    """What keeps a note that wants a slide from having it."""
    left = costing.cents_left(use.way, setting)
    if abs(left) <= costing.heard:
        return ""
    best = intonation.best_setting(use.way, costing.instrument, costing.pull_from)
    if not costing.wants_slide(use.way):
        return intonation.NO_TIME if abs(left) > abs(use.way.fingering.cents) + costing.heard else ""
    reachable = costing.cents_left(use.way, best)
    if reachable > costing.heard and left >= reachable:
        return intonation.TOO_FAR
    if left > reachable + costing.heard and use.free & use.slides != use.slides:
        return intonation.NO_TIME
    return ""
