"""A job's progress as server-sent events (HTML Standard, "Server-sent events").

Events of a job: ``part`` when a part begins or ends, ``job`` with the job's state at the start of
the stream and at the end. Every event but that first one has an id; who comes back with it in
``Last-Event-ID`` gets what has happened since, and 204 when nothing is to come any more.
"""

from __future__ import annotations

import json
import re
import threading
import time
from collections.abc import Iterator, Mapping
from typing import Any

import redis
from apiflask import APIBlueprint
from flask import Response, current_app, request

from api import access, schemas
from api.openapi import describe
from api.problems import Problem
from workers import logs
from workers.context import Context
from workers.jobs import Job
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
    """How many streams are open (each takes a thread of the server), and whether the server is to end."""

    def __init__(self, most: int) -> None:
        self._places = threading.BoundedSemaphore(most)
        self.closing = threading.Event()

    def enter(self) -> bool:
        """Take a place; False when there is none."""
        return self._places.acquire(blocking=False)

    def leave(self) -> None:
        """Give the place back."""
        self._places.release()


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
    if not streams.enter():
        raise Problem(
            503,
            "unavailable",
            "too many follow their jobs at the moment; ask for the job itself meanwhile",
            headers={"Retry-After": "5"},
        )
    gone = request.environ.get("waitress.client_disconnected", lambda: False)
    response = Response(_stream(context, job, seen, streams, gone), mimetype=EVENTS, headers=fields)
    response.call_on_close(streams.leave)
    return response


def _nothing_to_come(context: Context, job: Job, seen: str) -> bool:
    if context.store.ended(job) is None:
        return False
    last = context.live.last_event(job.ref)
    return last is None or _order(last) <= _order(seen)


def _order(event_id: str) -> tuple[int, int]:
    time_ms, _, turn = event_id.partition("-")
    return int(time_ms), int(turn)


def _stream(context: Context, job: Job, seen: str, streams: Streams, gone: Any) -> Iterator[str]:
    began = quiet_since = time.monotonic()
    yield f"retry: {RETRY_MS}\n\n"
    yield message("job", _summary(context, job))
    after = seen or "0"
    # The many events of a large job go out a few times a second, not one by one.
    pause = min(LONGEST_PAUSE, len(job.parts) * PAUSE_PER_PART) if job.bulk else 0.0
    ended_without_event = False
    while not streams.closing.is_set() and not gone() and time.monotonic() - began < STREAM_SECONDS:
        try:
            found = context.live.events(job.ref, after, WAIT_MS)
        except redis.RedisError as error:
            log.warning("no events without Redis", error=repr(error))
            return
        if found:
            after = found[-1][0]
            yield "".join(message(kind, data, event_id) for event_id, kind, data in found)
            if found[-1][1] == "job":  # nothing follows it
                return
            quiet_since = time.monotonic()
            streams.closing.wait(pause)
        elif time.monotonic() - quiet_since > COMMENT_SECONDS:
            quiet_since = time.monotonic()
            yield ": still here\n\n"
        elif not context.store.has(job.ref):
            yield message(
                "job", json.dumps({"id": job.id, "state": "deleted"}), after if after != "0" else None
            )
            return
        elif context.store.ended(job) is not None and context.live.last_event(job.ref) in (None, after):
            if not ended_without_event:
                # An outcome is kept before its event is sent: the event may be on its way.
                ended_without_event = True
                continue
            # Redis has lost the events of the end; the store knows it.
            yield message("job", _summary(context, job), after if after != "0" else None)
            return


def _summary(context: Context, job: Job) -> str:
    stands = status(context, job)
    progress = round(len(stands.outcomes) / len(job.parts), 4)
    note = {"id": job.id, "state": stands.state, "progress": progress, "counts": stands.counts(job)}
    return json.dumps(note, separators=(",", ":"))


def message(kind: str, data: str, event_id: str | None = None) -> str:
    """One event of the stream; the data is JSON, so it has no line ends."""
    head = f"id: {event_id}\n" if event_id else ""
    return f"{head}event: {kind}\ndata: {data}\n\n"
