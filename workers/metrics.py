"""Counters kept in Redis, so that workers on any host add to the same ones."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from typing import Any, cast

import redis

from workers.jobs import Outcome

KEY = "crookline:metrics"
BUCKETS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0, 60.0, 300.0)


class Tally:
    """What several parts add to the counters; it goes to Redis in one."""

    def __init__(self) -> None:
        self._counts: Counter[str] = Counter()
        self._seconds: defaultdict[str, float] = defaultdict(float)

    def part_ended(self, outcome: Outcome, stages: Mapping[str, float]) -> None:
        """Count a part by its outcome, and the seconds of its stages."""
        kind = outcome.reason.code if outcome.reason else ("cached" if outcome.cached else "computed")
        self._counts[f"parts {outcome.state} {kind}"] += 1
        for stage, seconds in stages.items():
            self.stage(stage, seconds)

    def stage(self, stage: str, seconds: float) -> None:
        """Count the seconds of a stage."""
        bucket = next((str(bound) for bound in BUCKETS if seconds <= bound), "+Inf")
        self._counts[f"bucket {stage} {bucket}"] += 1
        self._seconds[f"seconds {stage}"] += seconds

    def add(self, pipe: Any) -> None:
        """Put it all into a pipeline, and begin anew."""
        for name, count in self._counts.items():
            pipe.hincrby(KEY, name, count)
        for name, seconds in self._seconds.items():
            pipe.hincrbyfloat(KEY, name, seconds)
        self._counts.clear()
        self._seconds.clear()

    def add_to(self, connection: redis.Redis) -> None:
        """Add what is left, if anything."""
        if self._counts:
            pipe = connection.pipeline(transaction=False)
            self.add(pipe)
            pipe.execute()


def count(connection: redis.Redis, what: str, kind: str, number: int = 1) -> None:
    """Add to the counter ``what`` of a kind: ``swept``, ``outages``."""
    connection.hincrby(KEY, f"{what} {kind}", number)


def read(connection: redis.Redis) -> dict[str, float]:
    """All counters by their field."""
    found = cast("dict[str, str]", connection.hgetall(KEY))
    return {field: float(value) for field, value in found.items()}
