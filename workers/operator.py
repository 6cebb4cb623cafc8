"""What an operator asks: which jobs are not finished and why, who uses how much, which workers live."""

from __future__ import annotations

import time
from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, cast

import redis

from workers import queues, upkeep
from workers.context import Context
from workers.jobs import Job, id_time

QUIET_SECONDS = 120.0


@dataclass(frozen=True, slots=True)
class Unfinished:
    """A job with something left to do: how old it is (seconds), how many parts it has, and how many of them
    have ended, are in a worker's hands, wait in a queue, or are ``lost``: the next sweep sends them again."""

    ref: str
    age: float
    parts: int = 0
    ended: int = 0
    in_hand: int = 0
    waiting: int = 0
    lost: int = 0
    trouble: str = ""


def unfinished(context: Context) -> list[Unfinished]:
    """The jobs with something left to do, the oldest first. Raises OSError, RedisError."""
    sight = upkeep.look(context)
    found = []
    for ref in context.store.active():
        age = round(sight.now - id_time(ref.rpartition("/")[2]), 1)
        job = context.store.job(ref)
        if job is None:
            found.append(Unfinished(ref, age, trouble="it has no job.json"))
        elif job.unreadable:
            found.append(Unfinished(ref, age, trouble=f"it cannot be read: {job.unreadable}"))
        else:
            found.append(_stands(context, job, age, sight))
    return sorted(found, key=lambda one: -one.age)


def _stands(context: Context, job: Job, age: float, sight: upkeep.Sight) -> Unfinished:
    known = {**context.store.outcomes(job), **context.live.outcomes(job.ref)}
    lost = upkeep.missing(context, job, known, context.live.sent(job.ref), sight)
    held = sum((job.ref, part.n) in sight.held for part in job.parts if part.n not in known)
    waiting = len(job.parts) - len(known) - held - len(lost)
    trouble = "all its parts have ended, but it is not closed" if len(known) == len(job.parts) else ""
    return Unfinished(job.ref, age, len(job.parts), len(known), held, max(0, waiting), len(lost), trouble)


def usage(context: Context) -> dict[str, dict[str, Any]]:
    """For each owner: jobs kept, files, bytes, and how many jobs are not finished."""
    active = Counter(ref.partition("/")[0] for ref in context.store.active())
    found: dict[str, dict[str, Any]] = {}
    for owner in context.store.owners():
        sizes: defaultdict[str, int] = defaultdict(int)
        files = 0
        for name, _, size in context.store.files.found(f"jobs/{owner}"):
            sizes[name.split("/")[2]] += size
            files += 1
        found[owner] = {
            "jobs": len(sizes),
            "files": files,
            "bytes": sum(sizes.values()),
            "unfinished": active[owner],
        }
    return found


def strays(context: Context) -> dict[str, int]:
    """Queues with messages that no live worker listens to, and how many; web servers and workers have been
    given different lanes, say."""
    listened = {queue for worker in context.hands.workers().values() for queue in worker.queues}
    found = {}
    for name in _queues(context):
        if name not in listened:
            found[name] = int(cast("int", context.connection.llen(name)))
    return {name: length for name, length in found.items() if length}


def unheard(context: Context) -> list[str]:
    """The queues this process would send to that no live worker listens to. (A worker of an earlier version
    does not say where it listens; then nothing is known.)"""
    workers = context.hands.workers().values()
    listened = {queue for worker in workers for queue in worker.queues}
    if not listened or any(not worker.queues for worker in workers):
        return []
    return [name for name in queues.names(context.settings) if name not in listened]


def _queues(context: Context) -> list[str]:
    used = cast("set[str]", context.connection.smembers(queues.USED))
    return sorted({*queues.names(context.settings), *used})


def figures(context: Context) -> Mapping[str, float]:
    """A few numbers to watch: seconds since the last sweep and of the oldest job with something left to do,
    how many such jobs there are, messages in workers' hands, messages where nobody listens."""
    swept = upkeep.last_sweep(context.connection)
    now = time.time()
    found: dict[str, float] = {}
    if swept.get("at"):
        found["sweep_age_seconds"] = max(0.0, now - (swept["at"] or now))
        found["unfinished_jobs"] = float(swept.get("active") or 0)
        found["oldest_unfinished_seconds"] = max(0.0, now - (swept.get("oldest") or now))
    found["unacknowledged"] = float(cast("int", context.connection.hlen("unacked")))
    found["stray_messages"] = float(sum(strays(context).values()))
    return found


def reaches_redis(context: Context) -> bool:
    """Whether Redis answers."""
    try:
        return bool(context.connection.ping())
    except redis.RedisError:
        return False
