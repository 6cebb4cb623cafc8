"""What is going on right now, in Redis: which parts run, which have ended, and the events of a job.

Nothing here is the truth: all of it can be made again from the store, and every reader copes with
its absence. Keys are ``crookline:job:OWNER/ID:…`` and expire by themselves.
"""

from __future__ import annotations

import json
import time
from collections.abc import AsyncIterator, Callable, Iterable, Mapping
from contextlib import asynccontextmanager
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any, cast

import redis
from redis.asyncio import Redis as AsyncRedis

from workers.jobs import Job, Outcome, Part, outcome_from_json, outcome_to_json

KEEP_SECONDS = 2 * 86_400
EVENTS_KEPT = 10_000
HEARTBEAT_SECONDS = 10
WORKER = "crookline:worker:"


def connect(url: str) -> redis.Redis:
    """A connection to the Redis at ``url`` (safe for threads; made lazily)."""
    return redis.Redis.from_url(
        url, decode_responses=True, socket_timeout=30, socket_connect_timeout=5, health_check_interval=30
    )


@asynccontextmanager
async def listening(url: str) -> AsyncIterator[AsyncRedis]:
    """A connection for one who listens without a thread, closed afterwards."""
    connection = AsyncRedis.from_url(url, decode_responses=True, socket_timeout=30, socket_connect_timeout=5)
    try:
        yield connection
    finally:
        await connection.aclose()


async def next_events(
    connection: AsyncRedis, ref: str, after: str, wait_ms: int
) -> list[tuple[str, str, str]]:
    """A job's events after the one with that id (``0`` for all): (id, kind, data), waiting for the first.

    Raises ``redis.RedisError``.
    """
    found = cast(Any, await connection.xread({Live._key(ref, "events"): after}, count=500, block=wait_ms))
    if not found:
        return []
    entries = found[0][1] if isinstance(found, list) else next(iter(found.values()))
    return [(entry_id, values["event"], values["data"]) for entry_id, values in entries]


@dataclass(frozen=True, slots=True)
class Runner:
    """Who runs a part: the process, for people, and the worker it belongs to."""

    worker: str
    instance: str


@dataclass(frozen=True, slots=True)
class Step:
    """How many times the part that begins has begun, and how many parts of the job have ended."""

    begun: int
    ended: int


NOBODY = Runner("", "")


class Live:
    """The live state of jobs. Every method may raise ``redis.RedisError``."""

    def __init__(self, connection: redis.Redis) -> None:
        self.redis = connection

    @staticmethod
    def _key(ref: str, what: str) -> str:
        return f"crookline:job:{ref}:{what}"

    def queued(self, job: Job) -> None:
        """Note that messages for all parts without an outcome have been sent.

        Written after the messages: where this note survived a loss, so did they.
        """
        self.redis.set(self._key(job.ref, "queued"), str(time.time()), ex=KEEP_SECONDS)

    def is_queued(self, ref: str) -> float | None:
        """When the job's messages were sent (seconds since 1970); None when nothing is known of it."""
        value = cast("str | None", self.redis.get(self._key(ref, "queued")))
        return float(value) if value is not None else None

    def worker_lives(self, instance: str, name: str) -> None:
        """Note that a worker lives; to be said again every few seconds."""
        self.redis.set(f"{WORKER}{instance}", name, ex=HEARTBEAT_SECONDS)

    def workers(self) -> dict[str, str]:
        """The workers heard of in the last seconds: instance → name."""
        keys = list(self.redis.scan_iter(f"{WORKER}*", count=1000))
        names = cast("list[str | None]", self.redis.mget(keys)) if keys else []
        return {key.removeprefix(WORKER): name for key, name in zip(keys, names, strict=True) if name}

    def began(self, job: Job, part: Part, worker: str, instance: str = "") -> int:
        """Note that a part runs; gives how many times it has begun, this time included."""
        return self.step(job, begins=part, runner=Runner(worker, instance)).begun

    def ended(self, job: Job, part: Part, outcome: Outcome) -> int:
        """Note what became of a part; gives how many parts have ended."""
        return self.step(job, over=(part, outcome)).ended

    def step(
        self,
        job: Job,
        *,
        over: tuple[Part, Outcome] | None = None,
        begins: Part | None = None,
        runner: Runner = NOBODY,
        held: Iterable[int] = (),
        dropped: Iterable[int] = (),
        also: Callable[[Any], None] | None = None,
    ) -> Step:
        """In one round trip: what became of a part, and which one begins.

        ``held`` are the parts that the runner will come to next, ``dropped`` those it will not;
        ``also`` may put more into the pipeline.
        """
        pipe = self.redis.pipeline(transaction=False)
        key = partial(self._key, job.ref)
        note = json.dumps({"started": time.time(), "worker": runner.worker, "instance": runner.instance})
        if begins:
            pipe.hincrby(key("begun"), str(begins.n), 1)
        if over:
            part, outcome = over
            pipe.hset(key("ended"), str(part.n), outcome_to_json(outcome).decode())
            pipe.hdel(key("running"), str(part.n))
            self._event(pipe, job.ref, "part", _told(part, outcome))
        if begins:
            pipe.hset(key("running"), str(begins.n), note)
            pipe.hdel(key("held"), str(begins.n))
            self._event(pipe, job.ref, "part", {"n": begins.n, "name": begins.name, "state": "running"})
        held, dropped = list(held), list(dropped)
        if held:
            pipe.hset(key("held"), mapping=dict.fromkeys(map(str, held), note))
        if dropped:
            pipe.hdel(key("held"), *map(str, dropped))
        if not (over and begins):  # between two parts of a batch it is not needed
            for what in ("begun", "running", "held", "ended", "events"):
                pipe.expire(key(what), KEEP_SECONDS)
        if also:
            also(pipe)
        pipe.hlen(key("ended"))
        answers = pipe.execute()
        return Step(begun=int(answers[0]) if begins else 0, ended=int(answers[-1]))

    def job_ended(self, job: Job, state: str) -> None:
        """Tell those who listen that the job has ended. Nothing follows."""
        pipe = self.redis.pipeline(transaction=False)
        self._event(pipe, job.ref, "job", {"id": job.id, "state": state})
        pipe.expire(self._key(job.ref, "events"), KEEP_SECONDS)
        pipe.execute()

    def _event(self, pipe: Any, ref: str, kind: str, note: Mapping[str, Any]) -> None:
        key = self._key(ref, "events")
        data = json.dumps(note, ensure_ascii=False, separators=(",", ":"))
        pipe.xadd(key, {"event": kind, "data": data}, maxlen=EVENTS_KEPT, approximate=True)

    def abandoned(self, job: Job, numbers: Iterable[int]) -> None:
        """Note that parts do not run any more, though they have not ended."""
        fields = list(map(str, numbers))
        pipe = self.redis.pipeline(transaction=False)
        for what in ("running", "held"):
            pipe.hdel(self._key(job.ref, what), *fields)
        pipe.execute()

    def outcomes(self, ref: str) -> dict[int, Outcome]:
        """The outcomes known here, by the part's number."""
        found = cast("dict[str, str]", self.redis.hgetall(self._key(ref, "ended")))
        return {int(n): outcome_from_json(data) for n, data in found.items()}

    def running(self, ref: str) -> dict[int, dict[str, Any]]:
        """The parts that run: number → when it started and on which worker."""
        return self._notes(ref, "running")

    def held(self, ref: str) -> dict[int, dict[str, Any]]:
        """The parts a worker has taken and will come to next: number → when and which worker."""
        return self._notes(ref, "held")

    def _notes(self, ref: str, what: str) -> dict[int, dict[str, Any]]:
        found = cast("dict[str, str]", self.redis.hgetall(self._key(ref, what)))
        return {int(n): json.loads(data) for n, data in found.items()}

    def last_event(self, ref: str) -> str | None:
        """The id of the newest event, or None when there are none (any more)."""
        found = cast(Any, self.redis.xrevrange(self._key(ref, "events"), count=1))
        return str(found[0][0]) if found else None

    def forget(self, ref: str) -> None:
        """Drop all that is known of a job."""
        self.redis.delete(
            *(self._key(ref, what) for what in ("queued", "begun", "running", "held", "ended", "events"))
        )


def _told(part: Part, outcome: Outcome) -> dict[str, Any]:
    return {
        "n": part.n,
        "name": part.name,
        "state": outcome.state,
        "seconds": outcome.took,
        "cached": outcome.cached,
        "reason": asdict(outcome.reason) if outcome.reason else None,
    }
