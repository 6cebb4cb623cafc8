"""What is going on right now, in Redis: which parts run, which have ended, and the events of a job.

Nothing here is the truth: all of it can be made again from the store, and every reader copes with
its absence. Keys are ``crookline:job:OWNER/ID:…`` and expire by themselves:

sent      when each part was last put into the queue
begun     how many times each has begun without coming through
running   who is at it
ended     what became of it
events    what those who listen are told, each thing once
gone      there while workers may still hold messages of a job that was removed
closed    there when the job's end has been told
"""

from __future__ import annotations

import json
import time
from collections.abc import AsyncIterator, Callable, Iterable, Mapping
from contextlib import asynccontextmanager
from dataclasses import asdict, dataclass
from typing import Any, cast

import redis
from redis.asyncio import Redis as AsyncRedis

from workers.jobs import Job, Outcome, Part
from workers.stored import outcome_from_json, outcome_to_json

KEEP_SECONDS = 2 * 86_400
EVENTS_KEPT = 10_000
ALL = ("sent", "begun", "running", "ended", "events", "closed")

# Redis runs a script as one step, so that nothing is told twice however often a task runs.
BEGIN = """
if redis.call('EXISTS', KEYS[4]) == 1 then return {-1, ''} end
local before = redis.call('HGET', KEYS[2], ARGV[1])
if ARGV[4] ~= '' then redis.call('HSET', KEYS[1], ARGV[4], 0) end
local first = redis.call('HSETNX', KEYS[1], ARGV[1], 0)
local count = redis.call('HINCRBY', KEYS[1], ARGV[1], 1)
redis.call('HSET', KEYS[2], ARGV[1], ARGV[2])
redis.call('EXPIRE', KEYS[1], ARGV[5])
redis.call('EXPIRE', KEYS[2], ARGV[5])
if first == 1 and ARGV[3] ~= '' then
  redis.call('XADD', KEYS[3], 'MAXLEN', '~', ARGV[6], '*', 'event', 'part', 'data', ARGV[3])
  redis.call('EXPIRE', KEYS[3], ARGV[5])
end
return {count, before or ''}
"""
END = """
redis.call('HSET', KEYS[1], ARGV[1], 0)
redis.call('HDEL', KEYS[2], ARGV[1])
if redis.call('HSETNX', KEYS[4], ARGV[1], ARGV[2]) == 1 then
  redis.call('XADD', KEYS[3], 'MAXLEN', '~', ARGV[5], '*', 'event', 'part', 'data', ARGV[3])
end
for i = 1, 4 do redis.call('EXPIRE', KEYS[i], ARGV[4]) end
"""
CLOSE = """
if redis.call('SET', KEYS[2], '1', 'NX', 'EX', ARGV[2]) then
  redis.call('XADD', KEYS[1], '*', 'event', 'job', 'data', ARGV[1])
  redis.call('EXPIRE', KEYS[1], ARGV[2])
end
"""


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
    """Who runs a part: the process, for people; the worker it belongs to; the message it works off."""

    worker: str
    instance: str
    message: str = ""


@dataclass(frozen=True, slots=True)
class Taken:
    """What is known of parts that are taken up: whether the job is gone, whether Redis knows the job
    at all, which of the parts have ended, and how many of the job have."""

    gone: bool
    known: bool
    ended: Mapping[int, Outcome]
    count: int


@dataclass(frozen=True, slots=True)
class Begun:
    """How many times something has begun without coming through (-1: the job is gone), this time included,
    and the note of the one at it before, if any."""

    count: int
    before: str = ""

    @property
    def message(self) -> str:
        """The message that the one before works off."""
        return str(json.loads(self.before).get("message", "")) if self.before else ""


NOBODY = Runner("", "")


class Live:
    """The live state of jobs. Every method may raise ``redis.RedisError``."""

    def __init__(self, connection: redis.Redis) -> None:
        self.redis = connection

    @staticmethod
    def _key(ref: str, what: str) -> str:
        return f"crookline:job:{ref}:{what}"

    def queued(self, job: Job, numbers: Iterable[int] | None = None) -> None:
        """Note that messages for all parts (or those of the numbers) have been sent; written after them."""
        now = f"{time.time():.3f}"
        chosen = (part.n for part in job.parts) if numbers is None else numbers
        noted: dict[str, str] = {str(n): now for n in chosen}
        pipe = self.redis.pipeline(transaction=False)
        if noted:
            pipe.hset(self._key(job.ref, "sent"), mapping=cast("Any", noted))
        pipe.expire(self._key(job.ref, "sent"), KEEP_SECONDS)
        pipe.execute()

    def sent(self, ref: str) -> dict[int, float]:
        """When each part was last sent (seconds since 1970); empty when nothing is known of the job."""
        found = cast("dict[str, str]", self.redis.hgetall(self._key(ref, "sent")))
        return {int(n): float(when) for n, when in found.items()}

    def is_queued(self, ref: str) -> bool:
        """Whether anything is known here of a job's messages."""
        return bool(self.redis.exists(self._key(ref, "sent")))

    def take(self, ref: str, numbers: Iterable[int]) -> Taken:
        """What is known of parts about to be worked on, in one round trip."""
        listed = list(numbers)
        pipe = self.redis.pipeline(transaction=False)
        pipe.exists(self._key(ref, "gone"))
        pipe.exists(self._key(ref, "sent"))
        pipe.hmget(self._key(ref, "ended"), list(map(str, listed)))
        pipe.hlen(self._key(ref, "ended"))
        gone, known, found, count = pipe.execute()
        ended = {n: outcome_from_json(data) for n, data in zip(listed, found, strict=True) if data}
        return Taken(bool(gone), bool(known), ended, int(count))

    def begin(self, job: Job, part: Part, runner: Runner = NOBODY, *, through: Part | None = None) -> Begun:
        """Note that a part runs, and that the one before it came ``through``."""
        event = _json({"n": part.n, "name": part.name, "state": "running"})
        return self._begin(job, str(part.n), runner, event, str(through.n) if through else "")

    def begin_product(self, job: Job, part: Part | None, product: str, runner: Runner = NOBODY) -> Begun:
        """The same for something made of a part, or (None) of the job; of that there are no events."""
        return self._begin(job, f"{part.n if part else 0}:{product}", runner, "", "")

    def _begin(self, job: Job, field: str, runner: Runner, event: str, through: str) -> Begun:
        note = json.dumps({"started": time.time(), **asdict(runner)})
        keys = [self._key(job.ref, what) for what in ("begun", "running", "events", "gone")]
        arguments = [field, note, event, through, KEEP_SECONDS, EVENTS_KEPT]
        count, before = cast("Any", self.redis.eval(BEGIN, len(keys), *keys, *map(str, arguments)))
        return Begun(int(count), before)

    def left(self, job: Job, field: str, begun: Begun) -> None:
        """Take a beginning back, for the one before is still at it."""
        pipe = self.redis.pipeline(transaction=False)
        pipe.hincrby(self._key(job.ref, "begun"), field, -1)
        pipe.hset(self._key(job.ref, "running"), field, begun.before)
        pipe.execute()

    def not_begun(self, job: Job, *fields: str) -> None:
        """Take beginnings back: what stopped the work was not in the part."""
        pipe = self.redis.pipeline(transaction=False)
        for field in fields:
            pipe.hset(self._key(job.ref, "begun"), field, "0")
            pipe.hdel(self._key(job.ref, "running"), field)
        pipe.execute()

    def ended(
        self,
        job: Job,
        outcomes: Iterable[tuple[Part, Outcome]],
        also: Callable[[Any], None] | None = None,
    ) -> int:
        """Note what became of parts; gives how many of the job have ended, -1 when the job is gone.
        ``also`` may put more into the pipeline."""
        pipe = self.redis.pipeline(transaction=False)
        keys = [self._key(job.ref, what) for what in ("begun", "running", "events", "ended")]
        for part, outcome in outcomes:
            arguments = [
                *(str(part.n), outcome_to_json(outcome).decode(), _json(_told(part, outcome))),
                *(str(KEEP_SECONDS), str(EVENTS_KEPT)),
            ]
            pipe.eval(END, len(keys), *keys, *arguments)
        if also:
            also(pipe)
        pipe.hlen(keys[-1])
        pipe.exists(self._key(job.ref, "gone"))
        *_, count, gone = pipe.execute()
        return -1 if gone else int(count)

    def job_ended(self, job: Job, state: str) -> None:
        """Tell those who listen, once, that the job has ended. Nothing follows."""
        keys = [self._key(job.ref, "events"), self._key(job.ref, "closed")]
        self.redis.eval(CLOSE, 2, *keys, _json({"id": job.id, "state": state}), str(KEEP_SECONDS))

    def abandoned(self, job: Job, numbers: Iterable[int]) -> None:
        """Note that parts do not run any more, though they have not ended."""
        fields = list(map(str, numbers))
        if fields:
            self.redis.hdel(self._key(job.ref, "running"), *fields)

    def broke_off(self, ref: str, field: str, how: str) -> None:
        """Note how the process ended that was at a part (or, ``n:product``, at something made of one)."""
        key = self._key(ref, "broke")
        pipe = self.redis.pipeline(transaction=False)
        pipe.hset(key, field, how)
        pipe.hdel(self._key(ref, "running"), field)
        pipe.expire(key, KEEP_SECONDS)
        pipe.execute()

    def how_it_broke(self, ref: str, field: str) -> str:
        """How the last process ended that was at it, or ""."""
        return str(self.redis.hget(self._key(ref, "broke"), field) or "")

    def outcomes(self, ref: str) -> dict[int, Outcome]:
        """The outcomes known here, by the part's number."""
        found = cast("dict[str, str]", self.redis.hgetall(self._key(ref, "ended")))
        return {int(n): outcome_from_json(data) for n, data in found.items()}

    def running(self, ref: str) -> dict[int, dict[str, Any]]:
        """The parts that run: number → when it started and on which worker."""
        return {int(field): note for field, note in self.notes(ref).items() if field.isdigit()}

    def notes(self, ref: str) -> dict[str, dict[str, Any]]:
        """The notes of all that runs, products (``n:product``) too."""
        found = cast("dict[str, str]", self.redis.hgetall(self._key(ref, "running")))
        return {field: json.loads(data) for field, data in found.items()}

    def last_event(self, ref: str) -> str | None:
        """The id of the newest event, or None when there are none (any more)."""
        found = cast(Any, self.redis.xrevrange(self._key(ref, "events"), count=1))
        return str(found[0][0]) if found else None

    def forget(self, ref: str) -> None:
        """Drop all that is known of a job that is removed; messages of it find it gone."""
        pipe = self.redis.pipeline(transaction=False)
        pipe.set(self._key(ref, "gone"), "1", ex=KEEP_SECONDS)
        pipe.delete(*(self._key(ref, what) for what in (*ALL, "broke")))
        pipe.execute()


def _json(values: Mapping[str, Any]) -> str:
    return json.dumps(values, ensure_ascii=False, separators=(",", ":"))


def _told(part: Part, outcome: Outcome) -> dict[str, Any]:
    return {
        "n": part.n,
        "name": part.name,
        "state": outcome.state,
        "seconds": outcome.took,
        "cached": outcome.cached,
        "reason": asdict(outcome.reason) if outcome.reason else None,
    }
