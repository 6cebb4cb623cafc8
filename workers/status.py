"""How a job stands: from the store when it has ended, else from Redis, else from the store again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

import redis

from workers.context import Context
from workers.jobs import ENDED, Job, Outcome, Part, end_state


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
    if job.unreadable:
        return Status("unreadable", {})
    running: Mapping[int, Mapping[str, Any]] = {}
    outcomes: Mapping[int, Outcome] = {}
    known = False
    with suppress(redis.RedisError):
        known = context.live.is_queued(job.ref)
        outcomes = context.live.outcomes(job.ref)
        running = context.live.running(job.ref)
    if len(outcomes) < len(job.parts):
        ended = context.store.ended(job)
        if ended is not None:
            outcomes = {outcome.n: outcome for outcome in ended}
        elif not known:  # only the store can tell
            outcomes = {**context.store.outcomes(job), **outcomes}
    if len(outcomes) == len(job.parts):
        return Status(end_state(outcomes.values()), outcomes)
    return Status("running" if outcomes or running else "queued", outcomes, running)


def outcome(context: Context, job: Job, part: Part) -> Outcome | None:
    """What became of one part, or None while it has not ended."""
    with suppress(redis.RedisError):
        taken = context.live.take(job.ref, [part.n])
        if part.n in taken.ended:
            return taken.ended[part.n]
        if taken.known:
            ended = context.store.ended(job) or ()
            return next((outcome for outcome in ended if outcome.n == part.n), None)
    return context.store.outcome(job, part)
