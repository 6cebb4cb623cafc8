"""Which workers live, and what each has in hand.

A worker's main process says so every two seconds, in one key of Redis that expires by itself: its lease
on the messages it has taken. It lives apart from the processes that do the work, so a part that keeps its
process busy does not lose the lease, and a process that is gone does.
"""

from __future__ import annotations

import json
import platform
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, cast

import redis

from annotator import __version__

LEASE_SECONDS = 15
BEAT_SECONDS = 2
WORKER, WORKERS = "crookline:worker:", "crookline:workers"

Held = tuple[str, int]


@dataclass(frozen=True, slots=True)
class Worker:
    """A worker that lives: its name and host, the queues it listens to, its version, and the parts it has
    in hand (the job's ``owner/id`` and the part's number), and by which messages."""

    name: str
    host: str = ""
    queues: tuple[str, ...] = ()
    version: str = ""
    held: frozenset[Held] = frozenset()
    messages: frozenset[str] = frozenset()


class Hands:
    """The workers as they tell of themselves. Every method may raise ``redis.RedisError``."""

    def __init__(self, connection: redis.Redis) -> None:
        self.redis = connection

    def say(
        self,
        instance: str,
        name: str,
        queues: Iterable[str] = (),
        held: Iterable[tuple[str, list[int]]] = (),
        messages: Iterable[str] = (),
    ) -> None:
        """Say that a worker lives and what it has in hand."""
        note = {
            "name": name,
            "host": platform.node(),
            "queues": sorted(queues),
            "version": __version__,
            "held": [list(one) for one in held],
            "messages": list(messages),
        }
        pipe = self.redis.pipeline(transaction=False)
        pipe.set(f"{WORKER}{instance}", json.dumps(note), ex=LEASE_SECONDS)
        pipe.sadd(WORKERS, instance)
        pipe.execute()

    def workers(self) -> dict[str, Worker]:
        """The workers heard of in the last seconds, by instance."""
        # They are listed by name: a look through all keys would grow with everything else in Redis.
        listed = sorted(cast("set[str]", self.redis.smembers(WORKERS)))
        keys = [f"{WORKER}{instance}" for instance in listed]
        notes = cast("list[str | None]", self.redis.mget(keys)) if keys else []
        gone = [instance for instance, note in zip(listed, notes, strict=True) if not note]
        if gone:
            self.redis.srem(WORKERS, *gone)
        return {instance: _worker(note) for instance, note in zip(listed, notes, strict=True) if note}


def in_hand(workers: Mapping[str, Worker], message: str) -> bool:
    """Whether a live worker has a message in hand."""
    return bool(message) and any(message in worker.messages for worker in workers.values())


def held(workers: Mapping[str, Worker]) -> frozenset[Held]:
    """All that is in a live worker's hands."""
    return frozenset(one for worker in workers.values() for one in worker.held)


def _worker(note: str) -> Worker:
    """A worker's note, whichever version wrote it."""
    try:
        values: Any = json.loads(note)
    except ValueError:
        return Worker(note)
    if not isinstance(values, dict):
        return Worker(str(values))
    found = frozenset((ref, int(n)) for ref, numbers in values.get("held", ()) for n in numbers)
    return Worker(
        values.get("name", ""),
        values.get("host", ""),
        tuple(values.get("queues", ())),
        values.get("version", ""),
        found,
        frozenset(values.get("messages", ())),
    )
