"""How a job stands: from the store when it has ended, else from Redis, else from the store again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import redis

from workers.context import Context
from workers.jobs import ENDED, Job, Outcome, end_state


@dataclass(frozen=True, slots=True)
class Status:
    """A job's state, the outcomes so far, and what runs (number → when it started, on which worker)."""

    state: str
    outcomes: Mapping[int, Outcome]
    running: Mapping[int, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def ended(self) -> bool:
        """Whether nothing will change any more."""
        return self.state in ENDED

    def part_state(self, n: int) -> str:
        """``queued``, ``running``, ``done`` or ``failed``."""
        if n in self.outcomes:
            return self.outcomes[n].state
        return "running" if n in self.running else "queued"

    def counts(self, job: Job) -> dict[str, int]:
        """How many parts are in each state."""
        counted = Counter(self.part_state(part.n) for part in job.parts)
        return {state: counted[state] for state in ("queued", "running", "done", "failed")}


def status(context: Context, job: Job) -> Status:
    """How a job stands now."""
    ended = context.store.ended(job)
    if ended is not None:
        return Status(end_state(ended), {outcome.n: outcome for outcome in ended})
    running: Mapping[int, Mapping[str, Any]] = {}
    try:
        outcomes = context.live.outcomes(job.ref)
        running = context.live.running(job.ref)
        if context.live.is_queued(job.ref) is None:
            outcomes |= context.store.outcomes(job)
    except redis.RedisError:
        outcomes = context.store.outcomes(job)
    if len(outcomes) == len(job.parts):
        return Status(end_state(outcomes.values()), outcomes)
    return Status("running" if outcomes or running else "queued", outcomes, running)
