"""The end of a job before its time: its files go, and so does the work on it."""

from __future__ import annotations

from contextlib import suppress

import redis
from kombu.exceptions import OperationalError

from workers import logs
from workers.app import app
from workers.context import Context

log = logs.logger(__name__)


def remove(context: Context, ref: str) -> None:
    """Remove a job. What is being done for it is broken off: the process at it is ended, wherever it is;
    what waits in the queue finds the job gone. Raises OSError when the store cannot be reached."""
    messages: set[str] = set()
    try:
        messages = {note.get("message", "") for note in context.live.notes(ref).values()} - {""}
        context.live.forget(ref)
    except redis.RedisError as error:
        log.warning("redis still knows the job", job=ref, error=repr(error))
    context.store.remove(ref)
    if messages:
        with suppress(OperationalError, redis.RedisError, OSError):
            app.control.revoke(sorted(messages), terminate=True, signal="SIGKILL")
        # Again, for what was being written meanwhile; what comes later still is no job's and goes in an hour.
        context.store.remove(ref)
    log.info("job removed", job=ref, broken_off=len(messages))
