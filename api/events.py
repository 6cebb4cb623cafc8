"""A job's progress as server-sent events (HTML Standard, "Server-sent events").

Events of a job: ``part`` when a part begins or ends, ``job`` with the job's state at the start of
the stream and at the end. Every event but that first one has an id; who comes back with it in
``Last-Event-ID`` gets what has happened since, and 204 when nothing is to come any more.
"""

from __future__ import annotations

import asyncio
import json
import re
import threading
import time
from collections import Counter
from collections.abc import AsyncIterator, Mapping
from functools import partial
from typing import Any

import redis
from apiflask import APIBlueprint
from flask import Response, current_app, request
from redis.asyncio import Redis as AsyncRedis

from api import access, schemas
from api.front import turn
from api.openapi import describe
from api.problems import Problem
from workers import logs
from workers.context import Context
from workers.jobs import Job
from workers.live import listening, next_events
from workers.media import EVENTS
from workers.status import status

blueprint = APIBlueprint("events", __name__, url_prefix="/v1/jobs/<job_id>", tag="Jobs")
log = logs.logger(__name__)

WAIT_MS = 1000
PAUSE_PER_PART = 0.002
LONGEST_PAUSE = 0.05
COMMENT_SECONDS = 10.0
STREAM_SECONDS = 300.0
RETRY_MS = 1000
EVENT_ID = re.compile(r"[0-9]{1,20}-[0-9]{1,20}\Z", re.ASCII)
# Each event of the stream.
EVENT_SCHEMA = {
    "type": "object",
    "required": ["event", "data"],
    "properties": {
        "id": {"type": "string"},
        "event": {"type": "string", "enum": ["job", "part"]},
        "data": {"type": "string", "description": "A JSON object: the job's or the part's state."},
    },
}


class Streams:
    """How many streams are open, in all and for each owner. A stream takes a connection, no thread."""

    def __init__(self, most: int, each: int) -> None:
        self._most = most
        self._each = each
        self._open: Counter[str] = Counter()
        self._lock = threading.Lock()

    def enter(self, owner: str) -> bool:
        """Take a place; False when there is none."""
        with self._lock:
            if self._open.total() >= self._most or self._open[owner] >= self._each:
                return False
            self._open[owner] += 1
            return True

    def leave(self, owner: str) -> None:
        """Give the place back."""
        with self._lock:
            self._open[owner] -= 1

    def open(self) -> int:
        """How many there are."""
        return self._open.total()


@blueprint.get("/events")
@blueprint.input(schemas.EventsHeaders, location="headers", arg_name="headers")
@blueprint.doc(
    responses=describe.responses(
        404,
        s200={"description": "Events as they come", "content": {EVENTS: {"schema": EVENT_SCHEMA}}},
        s204={"description": "The job has ended and all its events have been seen"},
    ),
)
def events(job_id: str, headers: Mapping[str, str]) -> Any:
    """Follow a job's progress"""
    context = access.context()
    job = access.job(job_id)
    seen = headers["last_event_id"]
    if not EVENT_ID.match(seen):
        seen = ""
    if seen and _nothing_to_come(context, job, seen):
        return "", 204
    fields = {"Cache-Control": "no-cache", "X-Accel-Buffering": "no"}
    if request.method == "HEAD":
        return Response(mimetype=EVENTS, headers=fields)
    streams: Streams = current_app.extensions["crookline-streams"]
    owner = access.owner()
    if not streams.enter(owner):
        raise Problem(
            503,
            "unavailable",
            "too many streams are open at the moment; ask for the job itself meanwhile",
            headers={"Retry-After": "5"},
        )
    here = turn()
    here.follow = partial(_follow, context, job, seen)
    here.ended = partial(streams.leave, owner)
    return Response(mimetype=EVENTS, headers=fields)


def _nothing_to_come(context: Context, job: Job, seen: str) -> bool:
    if context.store.ended(job) is None:
        return False
    last = context.live.last_event(job.ref)
    return last is None or _order(last) <= _order(seen)


def _order(event_id: str) -> tuple[int, int]:
    time_ms, _, turn = event_id.partition("-")
    return int(time_ms), int(turn)


async def _follow(context: Context, job: Job, seen: str) -> AsyncIterator[str]:
    async with listening(context.settings.redis_url) as connection:
        async for text in _stream(context, job, seen, connection):
            yield text


async def _stream(context: Context, job: Job, seen: str, connection: AsyncRedis) -> AsyncIterator[str]:
    began = quiet_since = time.monotonic()
    yield f"retry: {RETRY_MS}\n\n"
    yield message("job", await asyncio.to_thread(_summary, context, job))
    after = seen or "0"
    # The many events of a large job go out a few times a second, not one by one.
    pause = min(LONGEST_PAUSE, len(job.parts) * PAUSE_PER_PART) if job.bulk else 0.0
    ended_without_event = False
    while time.monotonic() - began < STREAM_SECONDS:
        try:
            found = await next_events(connection, job.ref, after, WAIT_MS)
        except redis.RedisError as error:
            log.warning("no events without Redis", error=repr(error))
            return
        last_id = after if after != "0" else None
        if found:
            after = found[-1][0]
            yield "".join(message(kind, data, event_id) for event_id, kind, data in found)
            if found[-1][1] == "job":  # nothing follows it
                return
            quiet_since = time.monotonic()
            await asyncio.sleep(pause)
        elif time.monotonic() - quiet_since > COMMENT_SECONDS:
            quiet_since = time.monotonic()
            yield ": still here\n\n"
        elif not await asyncio.to_thread(context.store.has, job.ref):
            yield message("job", json.dumps({"id": job.id, "state": "deleted"}), last_id)
            return
        elif await asyncio.to_thread(_ended_at, context, job, after):
            if not ended_without_event:
                # An outcome is kept before its event is sent: the event may be on its way.
                ended_without_event = True
                continue
            # Redis has lost the events of the end; the store knows it.
            yield message("job", await asyncio.to_thread(_summary, context, job), last_id)
            return


def _ended_at(context: Context, job: Job, after: str) -> bool:
    """Whether the job has ended and nothing has been told after the event ``after``."""
    return context.store.ended(job) is not None and context.live.last_event(job.ref) in (None, after)


def _summary(context: Context, job: Job) -> str:
    stands = status(context, job)
    progress = round(len(stands.outcomes) / len(job.parts), 4)
    note = {"id": job.id, "state": stands.state, "progress": progress, "counts": stands.counts(job)}
    return json.dumps(note, separators=(",", ":"))


def message(kind: str, data: str, event_id: str | None = None) -> str:
    """One event of the stream; the data is JSON, so it has no line ends."""
    head = f"id: {event_id}\n" if event_id else ""
    return f"{head}event: {kind}\ndata: {data}\n\n"
