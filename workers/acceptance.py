"""A job is accepted: its options are read, it is kept in the store, and its parts go into the queue."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import redis
from kombu.exceptions import OperationalError

from annotator.errors import BadOption, CrooklineError
from workers import callbacks, idempotency, logs, quotas, result_cache, tasks
from workers.context import Context
from workers.intake import Intake
from workers.jobs import Job, id_time, new_id
from workers.queues import is_bulk
from workers.settings import variable

log = logs.logger(__name__)


class UsedBefore(CrooklineError):
    """An Idempotency-Key came before with another request."""

    code = "idempotency-conflict"


class BadCallback(CrooklineError):
    """A job's end cannot be told where it is asked to be told; ``field`` names what is wrong."""

    code = "bad-callback"
    field = "callback_url"


class NoSecret(BadCallback):
    """There is nothing to sign the message with."""

    field = "callback_secret"


def accept(
    context: Context,
    owner: str,
    intake: Intake,
    options: Mapping[str, Any],
    *,
    callback: tuple[str, str] = ("", ""),
    key: str = "",
) -> Job:
    """Keep a new job and put its parts into the queue; the same job again for a key used before.

    Raises UsedBefore when the key came with another request, NoRoom and QueueFull when it is too much.
    """
    job_id = new_id()
    parts = tuple(part for part, _ in intake.parts)
    if key:
        asked = idempotency.digest(parts, {"options": options, "callback": callback})
        claimed = idempotency.claim(context.store.files, owner, key, idempotency.Request(job_id, asked))
        if claimed.asked != asked:
            raise UsedBefore("this Idempotency-Key was used before, with other files or options")
        job_id = claimed.job
        known = context.store.job(f"{owner}/{job_id}")
        if known is not None:
            return known
    quotas.check(context, owner, parts)
    job = Job(
        owner=owner,
        id=job_id,
        created=id_time(job_id),
        options=options,
        parts=parts,
        skipped=tuple(intake.skipped),
        callback_url=callback[0],
        callback_secret=callback[1],
        bulk=is_bulk(parts, context.settings),
    )
    context.store.accept(job, intake.parts)
    log.info("job accepted", job=job.ref, parts=len(parts), bulk=job.bulk)
    try:
        tasks.send(job, context)
    except (OperationalError, redis.RedisError) as error:
        # The job is in the store and safe: the next sweep sends its parts.
        log.warning("job waits for the queue", job=job.ref, error=repr(error))
    return job


def options_of_text(text: str) -> dict[str, Any]:
    """The options of a job from JSON. Raises BadOption."""
    try:
        values = json.loads(text or "{}")
    except (ValueError, RecursionError) as error:
        raise BadOption(f"the options are not JSON: {error}") from None
    if not isinstance(values, dict):
        raise BadOption("the options must be a JSON object")
    try:
        json.dumps(values, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        raise BadOption("the options hold half of a character (an escape such as \\ud800 alone)") from None
    result_cache.options_of(values)
    return values


def callback_of(context: Context, url: str, secret: str) -> tuple[str, str]:
    """The address to tell of the job's end, and the secret to sign with. Raises BadCallback."""
    if not url:
        return "", ""
    fault = callbacks.fault_of(url)
    if fault:
        raise BadCallback(fault)
    private = "" if context.settings.callback_private else callbacks.private_of(url)
    if private:
        raise BadCallback(
            f"{private}, which is no public address, and this service calls no others; "
            f"whoever runs it can allow them with {variable('callback_private')}=yes"
        )
    if not (secret or context.settings.callback_secret):
        raise NoSecret("a callback needs `callback_secret`, to sign the message with")
    return url, secret
