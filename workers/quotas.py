"""How much one owner may keep and have waiting, and how much may wait in all."""

from __future__ import annotations

from collections.abc import Sequence

from annotator.errors import CrooklineError
from workers.context import Context
from workers.jobs import Part

RETRY_SPACE = 3600  # seconds after which room may have come by jobs that expire
RETRY_QUEUE = 30


class NoRoom(CrooklineError):
    """An owner keeps as much as it may; ``retry_after`` in seconds."""

    code = "no-room"
    retry_after = RETRY_SPACE


class QueueFull(CrooklineError):
    """As much waits already as may; ``retry_after`` in seconds."""

    code = "queue-full"
    retry_after = RETRY_QUEUE


def check(context: Context, owner: str, parts: Sequence[Part]) -> None:
    """Raises NoRoom or QueueFull when an owner's new job with these parts would be too much.

    Space is counted in bytes of the scores that were sent, what is waiting in parts of jobs that have not
    ended.
    """
    settings, store = context.settings, context.store
    if settings.owner_bytes:
        jobs = (store.remembered(f"{owner}/{id}") or store.job(f"{owner}/{id}") for id in store.ids(owner))
        kept = sum(part.size for job in jobs if job is not None for part in job.parts)
        if kept + sum(part.size for part in parts) > settings.owner_bytes:
            raise NoRoom(
                f"{owner} keeps scores of {kept} bytes, and {settings.owner_bytes} may be kept; "
                "remove jobs that are no longer wanted"
            )
    if not settings.owner_parts and not settings.queue_parts:
        return
    mine = everybody = 0
    for ref in store.active():
        job = store.remembered(ref) or store.job(ref)
        if job is not None:
            everybody += len(job.parts)
            mine += len(job.parts) if job.owner == owner else 0
    if settings.owner_parts and mine + len(parts) > settings.owner_parts:
        raise QueueFull(
            f"{mine} parts of {owner} are waiting or worked on, and {settings.owner_parts} may be"
        )
    if settings.queue_parts and everybody + len(parts) > settings.queue_parts:
        raise QueueFull(f"{everybody} parts are waiting or worked on; send this again a little later")
