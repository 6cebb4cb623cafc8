"""On the path of a service under test: Python reads this first, in every process of it.

What a score's title says is done in the midst of the work on it, and while a certain file is there the
store fails; so that real processes meet real faults.
"""

from __future__ import annotations

import errno
import json
import os
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import annotator
import annotator.transposed
from workers import store, stored
from workers.files import Files


def _die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def _die_slowly() -> None:
    time.sleep(0.3)
    _die()


def _hang() -> None:
    """As a loop in a C library does, which hears no signal."""
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGUSR1})
    time.sleep(3600)


def _swell() -> None:
    kept = []
    while True:
        kept.append(bytearray(20_000_000))


def _break() -> None:
    raise RuntimeError("a fault of ours")


DEEDS: dict[bytes, Callable[[], None]] = {
    b"kills its process": _die,
    b"dies slowly": _die_slowly,
    b"hangs": _hang,
    b"dawdles": lambda: time.sleep(0.25),
    b"sleeps": lambda: time.sleep(3600),
    b"wants all memory": _swell,
    b"breaks": _break,
}


def _sabotaged(kind: bytes, real: Any) -> Any:
    def work(data: bytes, *rest: Any, **more: Any) -> Any:
        for word, deed in DEEDS.items():
            if kind + b" " + word in data:
                deed()
        return real(data, *rest, **more)

    return work


annotator.annotate = _sabotaged(b"part", annotator.annotate)
annotator.transposed.transposed_part = _sabotaged(b"product", annotator.transposed.transposed_part)

FAULT = os.environ.get("CROOKLINE_TEST_STORE_FAULT", "")


def _failing(name: str) -> None:
    real = getattr(Files, name)

    def call(self: Files, *arguments: Any, **options: Any) -> Any:
        fault = Path(FAULT).read_text() if Path(FAULT).exists() else ""
        if fault == "full" and name in ("write", "create"):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        if fault == "away":
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        if fault == "slow":
            time.sleep(0.5)
        return real(self, *arguments, **options)

    setattr(Files, name, call)


_now = time.time
_jump = [0.0, 0.0]  # when it was last looked up, and by how much the clock is wrong


def _wrong_time() -> float:
    now = _now()
    if now - _jump[0] > 0.2:
        try:
            words = Path(FAULT).read_text().split()
        except OSError:
            words = []
        _jump[:] = [now, float(words[1]) if words[:1] == ["clock"] else 0.0]
    return now + _jump[1]


if FAULT:
    time.time = _wrong_time
    for method in ("read", "read_piece", "read_pieces", "write", "create"):
        _failing(method)


def _as_the_next_version_writes() -> None:
    """Jobs and outcomes with a field more, and one less that has a default."""
    real_job, real_outcome = stored.job_to_json, stored.outcome_values

    def job_to_json(job: Any) -> bytes:
        values = json.loads(real_job(job))
        for part in values["parts"]:
            part["shelf"] = 7
        del values["callback_secret"], values["skipped"]
        return json.dumps({**values, "mood": "bright"}).encode()

    def outcome_values(outcome: Any) -> dict[str, Any]:
        values = real_outcome(outcome)
        del values["waited"]
        return {**values, "tuned": True}

    vars(stored)["job_to_json"] = vars(store)["job_to_json"] = job_to_json
    vars(stored)["outcome_values"] = outcome_values


if os.environ.get("CROOKLINE_TEST_NEXT"):
    _as_the_next_version_writes()
