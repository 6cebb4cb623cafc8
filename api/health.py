"""Whether the service lives, and whether it can work."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any
from weakref import WeakKeyDictionary

import redis
from apiflask import APIBlueprint
from flask import jsonify

from api import access
from api.openapi import describe
from workers import operator
from workers.context import Context

ANSWER_SECONDS = 0.7
"""After this long a check has failed; all of them run at the same time, so the answer takes no longer."""

Check = dict[str, Any]

blueprint = APIBlueprint("health", __name__, tag="Health")


@blueprint.get("/healthz")
@blueprint.doc(responses=describe.responses(s200=describe.document("The web server answers")))
def healthz() -> Any:
    """Whether the web server answers"""
    return jsonify({"status": "ok"})


@blueprint.get("/readyz")
@blueprint.doc(
    responses=describe.responses(
        s200=describe.document("Redis, the store and at least one worker are there"),
        s503=describe.document("Something is missing; the document says what"),
    )
)
def readyz() -> Any:
    """Whether Redis, the store and the workers are there; told within a second, whatever hangs"""
    found = checks(access.context())
    ready = all(check["ok"] for check in found.values())
    response = jsonify({"status": "ready" if ready else "not ready", "checks": found})
    if not ready:
        response.status_code = 503
        response.headers["Retry-After"] = "5"
    return response


@dataclass(slots=True)
class _Asked:
    """One run of a check, in a thread of its own."""

    began: float = field(default_factory=time.monotonic)
    ended: threading.Event = field(default_factory=threading.Event)
    answer: Check = field(default_factory=dict)

    def run(self, check: Callable[[], Check]) -> None:
        try:
            self.answer = check()
        except Exception as error:  # no thread ends without a word
            self.answer = {"ok": False, "detail": type(error).__name__}
        finally:
            self.ended.set()


class SideBySide:
    """Checks that run at the same time. One that hangs is waited for by all who ask, and not begun again
    until it has ended: there is never more than one thread for each check."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._under_way: dict[str, _Asked] = {}

    def ask(self, checks: Mapping[str, Callable[[], Check]], seconds: float) -> dict[str, Check]:
        """The answers, after ``seconds`` at most; what has not answered by then is not ok."""
        until = time.monotonic() + seconds
        asked = {name: self._begun(name, check) for name, check in checks.items()}
        return {name: self._answer(one, until) for name, one in asked.items()}

    def _begun(self, name: str, check: Callable[[], Check]) -> _Asked:
        with self._lock:
            one = self._under_way.get(name)
            if one is None or one.ended.is_set():
                one = self._under_way[name] = _Asked()
                # A daemon, for a store that hangs must not keep the process from ending.
                threading.Thread(target=one.run, args=(check,), name=f"check {name}", daemon=True).start()
            return one

    @staticmethod
    def _answer(one: _Asked, until: float) -> Check:
        if one.ended.wait(max(0.0, until - time.monotonic())):
            return one.answer
        return {"ok": False, "detail": f"no answer for {time.monotonic() - one.began:.1f} s"}


_running: WeakKeyDictionary[Context, SideBySide] = WeakKeyDictionary()


def checks(context: Context) -> dict[str, Check]:
    """What the service needs, each with ``ok`` and, where it is not, what is wrong; known within
    ``ANSWER_SECONDS``."""
    wanted = {"redis": _redis, "workers": _workers, "store": _store}
    side_by_side = _running.setdefault(context, SideBySide())
    return side_by_side.ask({name: partial(check, context) for name, check in wanted.items()}, ANSWER_SECONDS)


def _redis(context: Context) -> Check:
    try:
        context.connection.ping()
    except redis.RedisError as error:
        return {"ok": False, "detail": f"Redis cannot be reached ({type(error).__name__})"}
    return {"ok": True}


def _workers(context: Context) -> Check:
    try:
        count = len(context.hands.workers())
        unheard = operator.unheard(context)
    except redis.RedisError:
        return {"ok": False, "detail": "not known without Redis"}
    if unheard:
        told = f"no worker listens to {', '.join(unheard)}; do all have the same CROOKLINE_LANES?"
        return {"ok": False, "count": count, "detail": told}
    if not count:
        return {"ok": False, "count": 0, "detail": "no worker has been heard of in the last seconds"}
    return {"ok": True, "count": count}


def _store(context: Context) -> Check:
    try:
        context.store.files.check()
    except Exception as error:  # whatever an object store's client raises, the answer is no
        return {"ok": False, "detail": f"the store cannot be written ({type(error).__name__})"}
    return {"ok": True}
