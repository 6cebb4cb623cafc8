"""What is done from time to time: find work that got lost on the way, remove what is old."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import cast

from workers import idempotency as requests
from workers import logs, parts, queues
from workers import result_cache as results
from workers.context import Context
from workers.jobs import Job, Outcome, id_time
from workers.live import HEARTBEAT_SECONDS

GRACE_SECONDS = 5.0
ABANDONED_SECONDS = 3600.0
# A task is ended by force half a minute after its time; what came after it in the batch is lost then.
GIVEN_UP_SECONDS = 90.0
log = logs.logger(__name__)

Send = Callable[[Job, list[int]], None]
End = Callable[[Job], None]


def sweep(context: Context, send: Send, ended: End) -> int:
    """Look at every job with parts to do; where Redis has lost it, send the missing parts again.

    Gives how many parts were sent. ``send`` puts parts into the queue; ``ended`` hears of jobs
    closed here.
    """
    sent = 0
    now = time.time()
    for ref in context.store.active():
        age = now - id_time(ref.rpartition("/")[2])
        job = context.store.job(ref)
        if job is None:
            if age > ABANDONED_SECONDS:
                context.store.remove(ref)
        elif age > min(GRACE_SECONDS, context.settings.sweep_seconds):
            sent += _settle(context, job, send, ended, now)
    return sent


def _settle(context: Context, job: Job, send: Send, ended: End, now: float) -> int:
    queued = context.live.is_queued(job.ref)
    known = context.live.outcomes(job.ref)
    missing: list[int] = []
    if queued is None or _stalled(context, job, now - queued):
        kept = context.store.outcomes(job)
        for n, outcome in kept.items():
            if n not in known:
                context.live.ended(job, job.parts[n - 1], outcome)
        known |= kept
        missing = [part.n for part in job.parts if part.n not in known]
        if missing:
            log.warning("parts sent again", job=job.ref, parts=len(missing))
            send(job, missing)
    else:
        missing = _orphaned(context, job, known, now)
        if missing:
            context.live.abandoned(job, missing)
            log.warning("parts of a lost worker sent again", job=job.ref, parts=len(missing))
            send(job, missing)
    if len(known) == len(job.parts) and parts.finish(context, job):
        ended(job)
    return len(missing)


def _orphaned(context: Context, job: Job, known: Mapping[int, Outcome], now: float) -> list[int]:
    """The parts whose worker has not been heard of since, or has had them longer than it may: waiting for
    Redis to hand them out again would take much longer."""
    alive = context.live.workers()
    longest = context.settings.task_seconds + GIVEN_UP_SECONDS
    taken = context.live.held(job.ref) | context.live.running(job.ref)
    return [
        n
        for n, note in taken.items()
        if n not in known
        and now - note["started"] > (longest if note["instance"] in alive else 2 * HEARTBEAT_SECONDS)
    ]


def _stalled(context: Context, job: Job, age: float) -> bool:
    """Whether a job's messages must be gone: long sent, and nothing waits in its queue."""
    if age < 2 * context.settings.redelivery_seconds:
        return False
    return cast(int, context.connection.llen(queues.queue_of(job, context.settings))) == 0


def expire(context: Context) -> int:
    """Remove jobs, kept results and request keys older than ``keep_days``. Gives how many jobs."""
    removed = 0
    oldest = time.time() - context.settings.keep_days * 86_400
    abandoned = time.time() - ABANDONED_SECONDS
    store = context.store
    for ref in store.refs():
        made = id_time(ref.rpartition("/")[2])
        if made < oldest or (made < abandoned and not store.has(ref)):
            store.remove(ref)
            context.live.forget(ref)
            removed += 1
            log.info("job expired", job=ref)
    for folder in (results.FOLDER, requests.FOLDER):
        for name in store.files.stale(folder, oldest):
            store.files.remove(name)
    return removed
