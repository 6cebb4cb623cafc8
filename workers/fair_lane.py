"""Work for a child process, with those who ask for it served in turn.

A child that breaks or takes too long is ended, the one who asked is told so, and the next work gets a new
child. The time for a piece of work is counted from when it begins, not from when it was asked for.
"""

from __future__ import annotations

import os
import signal
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from multiprocessing import get_context
from typing import Any

FINISHED_KEPT = 64
TRIES = 2


class StillWorking(Exception):
    """The work is waiting or being done; ask again."""


@dataclass(slots=True)
class _Work:
    key: Hashable
    run: Callable[..., Any]
    arguments: tuple[Any, ...]
    result: Future[Any] = field(default_factory=Future)


class FairLane:
    """A queue for each owner, one child process, a thread that goes round the owners. Safe for threads."""

    def __init__(self, seconds: float, failed: Callable[[str], Exception]) -> None:
        """``seconds`` for a piece of work; ``failed`` makes the error of work that breaks or takes longer."""
        self._seconds = seconds
        self._failed = failed
        self._waiting: OrderedDict[str, OrderedDict[Hashable, _Work]] = OrderedDict()
        self._asked: OrderedDict[Hashable, _Work] = OrderedDict()
        self._changed = threading.Condition()
        self._thread: threading.Thread | None = None
        self._closed = False
        self.pool: ProcessPoolExecutor | None = None

    def ask(
        self,
        owner: str,
        key: Hashable,
        run: Callable[..., Any],
        *arguments: Any,
        patience: float | None = None,
    ) -> Any:
        """What ``run(*arguments)`` gives in the child.

        Waits ``patience`` seconds (None: as long as it takes) and raises ``StillWorking`` then: who asks
        again with the same ``key`` finds the same work. Raises what ``run`` raises, and the lane's error.
        """
        with self._changed:
            work = self._asked.get(key)
            if work is None:
                work = self._asked[key] = _Work(key, run, arguments)
                self._waiting.setdefault(owner, OrderedDict())[key] = work
                self._forget_old()
                if self._thread is None:
                    self._thread = threading.Thread(target=self._work, name="fair-lane", daemon=True)
                    self._thread.start()
                self._changed.notify()
        if not wait([work.result], patience).done:
            raise StillWorking
        with self._changed:
            self._asked.pop(key, None)
        return work.result.result()

    def waiting(self) -> int:
        """How many pieces of work have not begun."""
        with self._changed:
            return sum(map(len, self._waiting.values()))

    def close(self) -> None:
        """End the child and the thread; what waits fails."""
        with self._changed:
            self._closed = True
            self._changed.notify()
        self._drop()

    def _forget_old(self) -> None:
        """Let go of results that nobody has come back for."""
        done = [key for key, work in self._asked.items() if work.result.done()]
        for key in done[: max(0, len(done) - FINISHED_KEPT)]:
            del self._asked[key]

    def _work(self) -> None:
        while True:
            with self._changed:
                while not self._waiting and not self._closed:
                    self._changed.wait()
                if self._closed:
                    for queue in self._waiting.values():
                        for work in queue.values():
                            work.result.set_exception(self._failed("the service is ending"))
                    return
                owner, queue = self._waiting.popitem(last=False)
                _, work = queue.popitem(last=False)
                if queue:
                    self._waiting[owner] = queue  # behind all others
            self._do(work)

    def _do(self, work: _Work) -> None:
        try:
            work.result.set_result(self._in_child(work))
        except BaseException as error:  # whatever it is, it is for the one who asked
            work.result.set_exception(error)

    def _in_child(self, work: _Work) -> Any:
        for _ in range(TRIES):
            if self.pool is None:
                # Not a fork: the server has threads and open connections.
                self.pool = ProcessPoolExecutor(
                    1, mp_context=get_context("spawn"), initializer=_follow, initargs=(os.getpid(),)
                )
            try:
                future = self.pool.submit(work.run, *work.arguments)
                if wait([future], self._seconds).done:
                    return future.result()
            except BrokenProcessPool:
                self._drop()  # and once more: the child may have broken before this work came to it
            else:
                self._drop()
                raise self._failed(f"it was given up after {self._seconds:.0f} seconds")
        raise self._failed("the process that draws broke off on this part")

    def _drop(self) -> None:
        pool, self.pool = self.pool, None
        if pool is None:
            return
        # Public interfaces only wait for a child; one that never answers has to be ended.
        for child in list((pool._processes or {}).values()):
            child.terminate()
        pool.shutdown(wait=False, cancel_futures=True)


def _follow(parent: int) -> None:
    """End with the server, however it ends, and by nothing else a terminal sends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(1)
        os._exit(0)

    threading.Thread(target=watch, daemon=True).start()
