"""Engraving in a process of its own, for the web server.

The engraver is a C++ library that holds the interpreter while it lays out music, and a file odd enough
may break it. In a child process neither stops the server: a child that breaks or takes too long is
ended, the request is told so, and the next request gets a new child.
"""

from __future__ import annotations

import os
import signal
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ProcessPoolExecutor, TimeoutError
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any, TypeVar

from annotator.engraving.engraving import Engraving
from annotator.engraving.paper import Paper
from annotator.errors import CrooklineError, UnreadableScore

T = TypeVar("T")
KEPT = 12


class EngravingFailed(CrooklineError):
    """The part cannot be engraved; its files are all the same there."""

    code = "engraving-failed"


@dataclass(frozen=True, slots=True)
class Sheets:
    """What to engrave: a file and its report, the paper, the kind of sheet. ``key`` names it in caches."""

    key: str
    data: bytes
    report: Mapping[str, Any]
    paper: Paper
    kind: str = "annotated"


class Engraver:
    """One child process that draws, started when first asked. Safe for threads."""

    def __init__(self, seconds: float = 120.0) -> None:
        self._seconds = seconds
        self._lock = threading.Lock()
        self._pool: ProcessPoolExecutor | None = None

    def outline(self, sheets: Sheets) -> list[dict[str, Any]]:
        """What is on which page (see ``Engraving.outline``). Raises EngravingFailed, CrooklineError."""
        return self._ask(_outline, sheets)

    def page(self, sheets: Sheets, number: int) -> str:
        """Page ``number`` as an SVG document. Raises BadOption when there is no such page."""
        return self._ask(_page, sheets, number)

    def pdf(self, sheets: Sheets) -> bytes:
        """All pages as a PDF."""
        return self._ask(_pdf, sheets)

    def close(self) -> None:
        """End the child."""
        with self._lock:
            self._drop()

    def _ask(self, work: Callable[..., T], *arguments: Any) -> T:
        with self._lock:
            if self._pool is None:
                # Not a fork: the server has threads and open connections.
                self._pool = ProcessPoolExecutor(
                    1, mp_context=get_context("spawn"), initializer=_follow, initargs=(os.getpid(),)
                )
            pool = self._pool
            try:
                future: Future[T] = pool.submit(work, *arguments)
            except BrokenProcessPool:
                self._drop()
                raise EngravingFailed("the engraver broke off; try once more") from None
        try:
            return future.result(self._seconds)
        except TimeoutError:
            what = f"engraving was given up after {self._seconds:.0f} seconds"
        except BrokenProcessPool:
            what = "the engraver broke off on this part; its files can be had all the same"
        with self._lock:
            if self._pool is pool:
                self._drop()
        raise EngravingFailed(what)

    def _drop(self) -> None:
        if self._pool is None:
            return
        # Public interfaces only wait for a child; one that never answers has to be ended.
        for child in list((self._pool._processes or {}).values()):
            child.terminate()
        self._pool.shutdown(wait=False, cancel_futures=True)
        self._pool = None


_drawn: OrderedDict[str, Engraving] = OrderedDict()


def _follow(parent: int) -> None:
    """End with the server, however it ends, and by nothing else a terminal sends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(1)
        os._exit(0)

    threading.Thread(target=watch, daemon=True).start()


def _engraving(sheets: Sheets) -> Engraving:
    key = f"{sheets.key}:{sheets.paper.id}:{sheets.kind}"
    if key not in _drawn:
        try:
            _drawn[key] = Engraving(sheets.data, sheets.report, paper=sheets.paper, kind=sheets.kind)
        except CrooklineError:
            raise
        except Exception as error:
            raise UnreadableScore(f"the part cannot be engraved ({type(error).__name__})") from error
        while len(_drawn) > KEPT:
            _drawn.popitem(last=False)
    _drawn.move_to_end(key)
    return _drawn[key]


def _outline(sheets: Sheets) -> list[dict[str, Any]]:
    return _engraving(sheets).outline()


def _page(sheets: Sheets, number: int) -> str:
    return _engraving(sheets).page(number)


def _pdf(sheets: Sheets) -> bytes:
    return _engraving(sheets).pdf()
