"""Which queue a job's parts wait in.

Two weights: ``small`` jobs do not wait behind ``bulk`` ones. Each is split into lanes, and a worker
takes from the lanes in turn; an owner's work stays in one lane, so a large set of one owner does
not hold up another's.
"""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from zlib import crc32

import redis

from workers.jobs import Job, Part
from workers.settings import Settings

UPKEEP = "upkeep"
USED = "crookline:queues"  # the set of all that have been sent to
WEIGHTS = ("small", "bulk")


def names(settings: Settings) -> list[str]:
    """Every queue a worker listens to."""
    lanes = range(settings.lanes)
    return [f"{weight}-{lane}" for weight in WEIGHTS for lane in lanes] + [UPKEEP]


def queue_of(job: Job, settings: Settings) -> str:
    """The queue of a job's parts. With keys a lane belongs to an owner (to several where there are
    more owners than lanes); without keys there is one owner, and jobs share among themselves."""
    owners = list(dict.fromkeys(key.name for key in settings.keys))
    if job.owner in owners:
        turn = owners.index(job.owner)
    else:  # without keys, or with one that came after this process began
        turn = crc32((job.owner if settings.keys else job.id).encode())
    return f"{WEIGHTS[job.bulk]}-{turn % settings.lanes}"


def depths(connection: redis.Redis, settings: Settings) -> dict[str, tuple[int, float]]:
    """For each queue: how many messages wait, and for how many seconds the oldest has."""
    queues = names(settings)
    pipe = connection.pipeline(transaction=False)
    for queue in queues:
        pipe.llen(queue)
        pipe.lindex(queue, -1)
    answers = pipe.execute()
    now = time.time()
    found = {}
    for queue, length, oldest in zip(queues, answers[::2], answers[1::2], strict=True):
        sent = json.loads(oldest).get("headers", {}).get("sent") if oldest else None
        found[queue] = (int(length), max(0.0, now - sent) if sent else 0.0)
    return found


def is_bulk(parts: Sequence[Part], settings: Settings) -> bool:
    """Whether a job of these parts goes through the bulk queue: many files, or much in them."""
    return len(parts) > settings.small_parts or sum(part.size for part in parts) > settings.small_bytes
