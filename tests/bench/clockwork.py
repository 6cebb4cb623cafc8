"""How everything here is timed: rivals in turn inside one run, so that a ratio holds on a busy machine."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Timing:
    """Processor (or wall) seconds of one thing over the rounds."""

    seconds: tuple[float, ...]

    @property
    def least(self) -> float:
        return min(self.seconds)

    @property
    def median(self) -> float:
        return statistics.median(self.seconds)

    def __str__(self) -> str:
        least, median, spread = (
            f"{seconds * 1e3:9.2f} ms"
            for seconds in (self.least, self.median, max(self.seconds) - self.least)
        )
        return f"min {least}  median {median}  spread {spread}"


def in_turn(
    rivals: Mapping[str, Callable[[], object]],
    rounds: int = 7,
    clock: Callable[[], float] = time.process_time,
) -> dict[str, Timing]:
    """Each of ``rivals`` once per round, in turn (A B C A B C …), after one round that does not count."""
    found: dict[str, list[float]] = {name: [] for name in rivals}
    for number in range(rounds + 1):
        for name, work in rivals.items():
            begun = clock()
            work()
            if number:
                found[name].append(clock() - begun)
    return {name: Timing(tuple(seconds)) for name, seconds in found.items()}


def ratio(one: Timing, other: Timing) -> float:
    """The median over the rounds of ``one`` divided by ``other``, round by round."""
    return statistics.median(a / b for a, b in zip(one.seconds, other.seconds, strict=True))
