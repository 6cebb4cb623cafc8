"""The tasks: thin, with ids for arguments. Each may run twice and does the same again."""

from __future__ import annotations

import time
from typing import Any

import redis
import structlog

from workers import parts, queues, upkeep
from workers.app import app
from workers.context import Context, context
from workers.jobs import Job

RETRY: dict[str, Any] = {
    "autoretry_for": (OSError, redis.RedisError),
    "retry_backoff": True,
    "retry_backoff_max": 60,
    "max_retries": 10,
}
SWEEP_LOCK = "crookline:sweeping"


@app.task(name="crookline.part", bind=True, **RETRY)  # type: ignore[untyped-decorator]
def part(self: Any, ref: str, n: int) -> None:
    """Mark the n-th part of a job."""
    with structlog.contextvars.bound_contextvars(job=ref, part=n):
        sent = (self.request.headers or {}).get("sent") or time.time()
        ended = parts.run(context(), ref, n, sent)
        if ended is not None:
            job_ended(ended)


@app.task(name="crookline.sweep")  # type: ignore[untyped-decorator]
def sweep() -> None:
    """Find lost work. Where several schedulers run, one sweep at a time is enough."""
    here = context()
    if here.connection.set(SWEEP_LOCK, "1", nx=True, ex=60):
        try:
            upkeep.sweep(here, lambda job, numbers: send(job, here, numbers), job_ended)
        finally:
            here.connection.delete(SWEEP_LOCK)


@app.task(name="crookline.expire")  # type: ignore[untyped-decorator]
def expire() -> None:
    """Remove what is older than it is to be kept."""
    upkeep.expire(context())


def send(job: Job, here: Context, numbers: list[int] | None = None) -> None:
    """Put a job's parts (or those of the numbers) into the queue. Raises kombu's OperationalError
    or RedisError when there is no queue; the job is in the store and a sweep sends it later."""
    queue = queues.queue_of(job, here.settings)
    with app.producer_pool.acquire(block=True) as producer:
        for n in numbers if numbers is not None else range(1, len(job.parts) + 1):
            part.apply_async((job.ref, n), queue=queue, producer=producer, headers={"sent": time.time()})
    here.live.queued(job)


def job_ended(job: Job) -> None:
    """What follows the end of a job."""
