"""What is done from time to time: find work that got lost on the way, remove what is old."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import cast

import redis

from workers import hands, logs, metrics, notes, parts, queues, removal
from workers import idempotency as requests
from workers.context import INSTANCE, Context
from workers.hands import Held, Worker
from workers.jobs import Job, Outcome, id_time

GRACE_SECONDS = 5.0
ABANDONED_SECONDS = 3600.0
DAY = 86_400
LOCK_SECONDS = 60
CLOCKS_APART = 1.0
EXPIRE_SECONDS = 40.0
REMOVED_AT_ONCE = 50
SWEPT = "crookline:swept"
OLD_RESULTS = "results"  # where earlier versions kept results a second time
log = logs.logger(__name__)

Send = Callable[[Job, list[int]], None]
End = Callable[[Job], None]


@dataclass(frozen=True, slots=True)
class Sight:
    """What a sweep sees before it looks at single jobs: the time, the live workers, what they hold, and
    since when the oldest message of each queue has waited (seconds since 1970)."""

    now: float
    workers: Mapping[str, Worker]
    held: frozenset[Held]
    oldest: Mapping[str, float]


@contextmanager
def alone(context: Context, what: str) -> Iterator[bool]:
    """Whether nobody else is at it: of several who come at once one is told yes. Whoever dies at it is in the
    way for a minute."""
    key = f"crookline:alone:{what}"
    got = bool(context.connection.set(key, INSTANCE, nx=True, ex=LOCK_SECONDS))
    try:
        yield got
    finally:
        if got and context.connection.get(key) == INSTANCE:
            context.connection.delete(key)


def look(context: Context) -> Sight:
    """How things stand with workers and queues."""
    workers = context.hands.workers()
    waiting = queues.depths(context.connection, context.settings)
    now = time.time()
    oldest = {name: now - age for name, (length, age) in waiting.items() if length}
    return Sight(now, workers, hands.held(workers), oldest)


def sweep(context: Context, send: Send, ended: End) -> int:
    """Look at every job with something left to do. A part that has no outcome in the store, is in no live
    worker's hands and waits in no queue is sent again, whatever the notes in Redis say.

    Gives how many parts were sent. ``send`` puts parts into the queue; ``ended`` does what follows from the
    end of jobs closed here. One job's trouble is logged and counted, and stops no other.
    """
    sent = 0
    sight = look(context)
    active = context.store.active()
    for ref in active:
        try:
            sent += _look_at(context, ref, sight, send, ended)
        except redis.RedisError:
            raise
        except Exception:
            log.exception("a job could not be looked at", job=ref)
            metrics.count(context.connection, "swept", "fault")
    made = [id_time(ref.rpartition("/")[2]) for ref in active]
    note = {"at": sight.now, "active": len(active), "oldest": min(made, default=None)}
    context.connection.set(SWEPT, json.dumps(note))
    return sent


def _look_at(context: Context, ref: str, sight: Sight, send: Send, ended: End) -> int:
    age = abs(sight.now - id_time(ref.rpartition("/")[2]))  # clocks may have been set back
    job = context.store.job(ref)
    if job is None:
        if age > ABANDONED_SECONDS:
            context.store.remove(ref)
            _count(context, "abandoned", ref, 1)
        return 0
    if job.unreadable:
        if context.connection.set(f"crookline:unreadable:{ref}", "1", nx=True, ex=DAY):  # said once a day
            _count(context, "unreadable", ref, 1, why=job.unreadable)
        return 0
    if age <= min(GRACE_SECONDS, context.settings.sweep_seconds):
        return 0
    notes = context.live.sent(ref)
    known: Mapping[int, Outcome] = context.live.outcomes(ref)
    lost = missing(context, job, known, notes, sight)
    if lost or len(known) == len(job.parts):
        kept = context.store.outcomes(job)
        untold = [(job.parts[n - 1], outcome) for n, outcome in kept.items() if n not in known]
        if untold:
            context.live.ended(job, untold)
            _count(context, "untold", ref, len(untold))
        known = {**known, **kept}
        lost = [n for n in lost if n not in kept]
    if lost:
        context.live.abandoned(job, lost)
        _count(context, "unknown" if not notes else "lost", ref, len(lost))
        send(job, lost)
    if len(known) == len(job.parts):
        if parts.finish(context, job):
            _count(context, "unclosed", ref, 1)
        ended(job)
    return len(lost)


def missing(
    context: Context, job: Job, known: Mapping[int, Outcome], notes: Mapping[int, float], sight: Sight
) -> list[int]:
    """The parts that no live worker has and that wait in no queue, as far as can be seen."""
    waits_since = sight.oldest.get(queues.queue_of(job, context.settings))
    began = {n: note["started"] for n, note in context.live.running(job.ref).items()}
    stale = context.settings.stale_seconds
    found = []
    for part in job.parts:
        if part.n in known or (job.ref, part.n) in sight.held:
            continue
        if 0 <= sight.now - began.get(part.n, 0.0) < 2 * hands.BEAT_SECONDS:
            continue  # its worker has not had the time to say so
        sent = notes.get(part.n)
        # A queue is worked off in order: what was sent before its oldest message does not wait in it.
        waits = sent is not None and waits_since is not None and waits_since <= sent + CLOCKS_APART
        if sent is None or (abs(sight.now - sent) > stale and not waits):
            found.append(part.n)
    return found


def _count(context: Context, what: str, ref: str, number: int, **more: str) -> None:
    log.warning("sweep", found=what, job=ref, number=number, **more)
    metrics.count(context.connection, "swept", what, number)


def expire(context: Context) -> int:
    """Remove jobs and request keys older than ``keep_days``; gives how many jobs.

    The age of a job is in its name, so it need not be read. What is not done in EXPIRE_SECONDS is left for
    the next time; a removal that broke off leaves a folder without a job, which goes after an hour.
    """
    until = time.monotonic() + EXPIRE_SECONDS
    removed = 0
    for refs in _old(context):
        if time.monotonic() > until:
            return removed
        context.store.remove(*refs)
        for ref in refs:
            with suppress(redis.RedisError):
                context.live.forget(ref)
        removed += len(refs)
        log.info("jobs expired", jobs=len(refs), first=refs[0], last=refs[-1])
    for ref in notes.due(context.store):
        removal.remove(context, ref)
        notes.forget(context.store, ref)
        removed += 1
    files, oldest = context.store.files, time.time() - context.settings.keep_days * DAY
    for folder in (OLD_RESULTS, requests.FOLDER):
        files.remove_all([name for name, written, _ in files.found(folder) if written < oldest])
    return removed


def _old(context: Context) -> Iterator[list[str]]:
    """Jobs to be removed, some at a time."""
    now = time.time()
    oldest, abandoned = now - context.settings.keep_days * DAY, now - ABANDONED_SECONDS
    found: list[str] = []
    for owner in context.store.owners():
        for job_id in reversed(context.store.ids(owner)):
            made, ref = id_time(job_id), f"{owner}/{job_id}"
            lately = abandoned - 3 * ABANDONED_SECONDS < made < abandoned
            if made < oldest or (lately and not context.store.has(ref)):
                found.append(ref)
            if len(found) == REMOVED_AT_ONCE:
                yield found
                found = []
    if found:
        yield found


def last_sweep(connection: redis.Redis) -> dict[str, float | None]:
    """When the last sweep was, how many jobs were active then, and when the oldest of them was made."""
    note = cast("str | None", connection.get(SWEPT))
    found: dict[str, float | None] = json.loads(note) if note else {}
    return found
