"""Counters kept in Redis, so that workers on any host add to the same ones."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

import redis

from workers.jobs import Outcome

KEY = "crookline:metrics"
BUCKETS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0, 60.0, 300.0)


def part_ended(connection: redis.Redis, outcome: Outcome, stages: Mapping[str, float]) -> None:
    """Count a part by its outcome, and the seconds of its stages."""
    pipe = connection.pipeline(transaction=False)
    kind = outcome.reason.code if outcome.reason else ("cached" if outcome.cached else "computed")
    pipe.hincrby(KEY, f"parts {outcome.state} {kind}", 1)
    for stage, seconds in stages.items():
        bucket = next((str(bound) for bound in BUCKETS if seconds <= bound), "+Inf")
        pipe.hincrby(KEY, f"bucket {stage} {bucket}", 1)
        pipe.hincrbyfloat(KEY, f"seconds {stage}", seconds)
    pipe.execute()


def read(connection: redis.Redis) -> dict[str, float]:
    """All counters by their field."""
    found = cast("dict[str, str]", connection.hgetall(KEY))
    return {field: float(value) for field, value in found.items()}
