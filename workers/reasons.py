"""When work on a file is given up, and the true reason for it: only what is wrong with the file counts."""

from __future__ import annotations

from billiard.exceptions import SoftTimeLimitExceeded

import annotator
from workers import logs
from workers.context import Context
from workers.hands import in_hand
from workers.jobs import Job, Reason
from workers.live import Begun, Runner
from workers.outages import GaveUp

MAX_BEGINNINGS = 3
OWN_SHARE = 0.8
log = logs.logger(__name__)


def someone_is_at_it(context: Context, begun: Begun, runner: Runner) -> bool:
    """Whether a live worker has it in hand already, by another message: then it is left to that one."""
    other = begun.message
    return begun.count > 1 and other != runner.message and in_hand(context.hands.workers(), other)


def broken_off(context: Context, job: Job, field: str, begun: int) -> Reason | None:
    """Why no more is tried of something whose work broke off before, or None."""
    if begun <= 1:
        return None
    how = context.live.how_it_broke(job.ref, field)
    if how == "time":
        return took_too_long(context)
    if begun <= MAX_BEGINNINGS:
        return None
    told = f" ({how})" if how else ""
    times = f"{MAX_BEGINNINGS} times"
    return Reason("worker-lost", f"the work on this file ended its process {times} without a result{told}")


def took_too_long(context: Context) -> Reason:
    """The reason of what was given up for its time."""
    limit = context.settings.task_seconds
    return Reason("took-too-long", f"the work on this file was given up after {limit} seconds")


def reason_of(context: Context, job: Job, error: BaseException, took: float) -> Reason:
    """The reason for what the library raised in the work on a file, which took so many seconds. Raises
    GaveUp when the time was spent on something else, and SystemExit and its like again."""
    if isinstance(error, annotator.CrooklineError):
        return Reason(error.code, error.message, error.part, error.measure)
    if isinstance(error, SoftTimeLimitExceeded):
        if took < OWN_SHARE * context.settings.task_seconds:
            raise GaveUp("the time was over when the work on this file had hardly begun") from None
        return took_too_long(context)
    if isinstance(error, MemoryError):
        limit = context.settings.task_memory // 1_000_000
        return Reason(
            "too-much-memory", f"the work on this file wanted more than {limit} MB; it was given up"
        )
    if not isinstance(error, Exception):
        raise error
    # A fault of ours in one part must not cost the others.
    log.error("part failed unexpectedly", exc_info=error)
    what = "a fault in the program stopped the work on this file; the log tells more under job"
    return Reason("internal-error", f"{what} {job.id}")
