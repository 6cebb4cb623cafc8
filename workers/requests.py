"""What a worker's main process does when a process of its pool breaks off: it notes how, so that the reason
given in the end is the true one. (Celery hands the message out again by itself.)"""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from typing import Any

import redis
from billiard.exceptions import WorkerLostError
from celery.worker.request import Request

from workers import logs, metrics
from workers.context import context

log = logs.logger(__name__)


class Watched(Request):  # type: ignore[misc]
    """A message with work on parts, as the main process sees it."""

    def on_timeout(self, soft: bool, timeout: float) -> None:
        """The time was over: ``soft`` while the process could still be told, else it was ended."""
        if not soft:
            self._broke_off("time" if _lives(self.worker_pid) else "it ended before its time was over")
        super().on_timeout(soft, timeout)

    def on_failure(self, exc_info: Any, send_failed_event: bool = True, return_ok: bool = False) -> Any:
        """The work ended in an error, or its process did."""
        error = exc_info.exception
        if isinstance(getattr(error, "exc", error), (WorkerLostError, SystemExit)):
            self._broke_off(str(getattr(error, "exc", error)).partition(" Job:")[0].rstrip("."))
        return super().on_failure(exc_info, send_failed_event, return_ok)

    def _broke_off(self, how: str) -> None:
        ref = self.args[0]
        found = []
        with suppress(redis.RedisError):
            here = context()
            found = [field for field, note in here.live.notes(ref).items() if note.get("message") == self.id]
            for field in found:
                here.live.broke_off(ref, field, how)
            metrics.count(here.connection, "broken", "time" if how == "time" else "process")
        log.error("work broke off", job=ref, parts=found, how=how, pid=self.worker_pid)


def _lives(pid: int | None) -> bool:
    """Whether a process still runs; the end of one is sometimes noticed by its time only."""
    try:
        os.kill(pid or 0, 0)
        state = Path(f"/proc/{pid}/stat")
        return not state.exists() or state.read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False
