"""When the store or Redis cannot be reached, the work waits for it: that is nobody's fault and no beginning.

A worker first waits where it stands, so that in an outage each of its processes holds one message and no
more; then the message goes back to the queue for a while. A message that cannot be sent back, for Redis is
away too, is found missing by the sweep.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any, TypeVar

import redis
from billiard.exceptions import SoftTimeLimitExceeded

from workers import logs, metrics
from workers.context import context

T = TypeVar("T")
OUTAGES = (OSError, redis.RedisError)
WAITS = (0.5, 1.0, 2.0, 4.0, 8.0, 15.0)
AWAY_SECONDS = 20.0
log = logs.logger(__name__)


class GaveUp(OSError):
    """The time for a message was over for other reasons than the part it came to: that is tried again."""


def waiting(task: Any, work: Callable[[], T]) -> T:
    """What ``work`` gives, tried again with growing pauses while the store or Redis is away. Raises Celery's
    Retry when that takes long."""
    for wait in (*WAITS, None):
        try:
            return work()
        except (GaveUp, SoftTimeLimitExceeded):  # there is no time left to wait here
            break
        except OUTAGES as error:
            what = "redis" if isinstance(error, redis.RedisError) else "store"
            log.warning("outage", what=what, error=f"{type(error).__name__}: {error}", wait=wait)
            with suppress(redis.RedisError):
                metrics.count(context().connection, "outages", what)
            if wait is None:
                break
        try:
            time.sleep(wait)
        except SoftTimeLimitExceeded:
            break
    raise task.retry(countdown=AWAY_SECONDS * (0.5 + secrets.randbelow(1000) / 1000), max_retries=None)
