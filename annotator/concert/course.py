"""The course of a piece: its measures in the order they are played, repeats, endings and jumps unfolded.

Rules (common practice, no source): a repeat is played twice unless it says how often; a repeat without a
beginning begins after the last one, or at the start; after a da capo or dal segno repeats are not taken
again and the last ending is played; *to coda* and *fine* count only after the jump.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from annotator.score.signs import Signs

MOST_TIMES = 64
"""A course longer than this many times its measures is a mistake in the file."""


@dataclass(frozen=True, slots=True)
class Course:
    """``order``: indices of measures as played. ``notes``: in words what was unfolded and what could not."""

    order: tuple[int, ...]
    notes: tuple[str, ...] = ()


def unfold(signs: Sequence[Signs]) -> Course:
    """The course of a part with these signs."""
    return _Walk(signs).course()


class _Walk:
    def __init__(self, signs: Sequence[Signs]) -> None:
        self.signs = signs
        self.order: list[int] = []
        self.notes: list[str] = []
        self.begin = 0  # where the repeat in force goes back to
        self.turn = 1  # which time through it this is
        self.jumped = False
        self.groups: list[frozenset[int]] = []
        for bracketed, side_by_side in groupby(signs, key=lambda sign: bool(sign.endings)):
            group = list(side_by_side)
            numbers = frozenset().union(*(sign.endings for sign in group)) if bracketed else frozenset()
            self.groups += [numbers] * len(group)

    def course(self) -> Course:
        here, count = 0, len(self.signs)
        while here < count:
            if len(self.order) > MOST_TIMES * count:
                self._note("the repeats never end as the file has them; counted as printed")
                return Course(tuple(range(count)), tuple(self.notes))
            here = self._step(here)
        left_out = count - len(set(self.order))
        if left_out:
            measures = "1 measure is" if left_out == 1 else f"{left_out} measures are"
            self._note(f"{measures} never reached as repeats and endings stand, and not counted")
        return Course(tuple(self.order), tuple(self.notes))

    def _step(self, here: int) -> int:
        """Play measure ``here`` (or skip it) and say which comes next."""
        sign = self.signs[here]
        if sign.forward and here != self.begin:
            self.begin, self.turn = here, 1
        group = self._endings(here)
        if group and self._turn_of(group) not in sign.endings:
            after = self._after_ending(here)
            if self.turn > max(group):
                # The last time round has no bracket of its own.
                self.begin, self.turn = after, 1
            return after
        self.order.append(here)
        if self.jumped and "fine" in sign.jumps:
            return len(self.signs)
        if self.jumped and "tocoda" in sign.jumps:
            coda = self._find("coda", here + 1)
            if coda is not None:
                return coda
            self._note("there is no coda to go to")
        if sign.backward and (not self.jumped or sign.after_jump):
            times = max(sign.backward, max(group, default=0))
            if self.turn < times:
                self._note("repeats unfolded")
                self.turn += 1
                return self.begin
            self.begin, self.turn = here + 1, 1
        elif group and sign.closes and max(group) == self._turn_of(group):
            self.begin, self.turn = here + 1, 1
        if not self.jumped and sign.jumps & {"dacapo", "dalsegno"}:
            return self._jump(sign, here)
        return here + 1

    def _jump(self, sign: Signs, here: int) -> int:
        start: int | None = 0
        name = "da capo"
        if "dalsegno" in sign.jumps:
            start, name = self._find("segno", 0), "dal segno"
        if start is None:
            self._note("there is no segno to go back to; counted without it")
            return here + 1
        self.jumped = True
        self._note(f"{name} unfolded, repeats not taken again")
        self.begin, self.turn = start, 1
        return start

    def _turn_of(self, group: frozenset[int]) -> int:
        """Which ending is played now; after a jump the last one."""
        return max(group) if self.jumped else self.turn

    def _endings(self, here: int) -> frozenset[int]:
        """All numbers of the endings that stand side by side around measure ``here``."""
        return self.groups[here]

    def _after_ending(self, here: int) -> int:
        numbers = self.signs[here].endings
        while here < len(self.signs) and self.signs[here].endings == numbers:
            here += 1
            if self.signs[here - 1].closes:
                break
        return here

    def _find(self, jump: str, start: int) -> int | None:
        found = (index for index, sign in enumerate(self.signs) if index >= start and jump in sign.jumps)
        return next(found, None)

    def _note(self, text: str) -> None:
        if text not in self.notes:
            self.notes.append(text)
