"""Python's cyclic garbage collector, held back while a score is worked on.

A score makes hundreds of thousands of values and no cycles among them; the collector would look through
all of them again and again, which makes long scores cost more per note than short ones.
"""

from __future__ import annotations

import gc
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_lock = threading.Lock()
_inside = 0
_was_on = False


@contextmanager
def without_collector() -> Iterator[None]:
    """The collector is off inside, in whichever thread, and as it was after the last one has left."""
    global _inside, _was_on  # noqa: PLW0603 - the collector is one for the whole process
    with _lock:
        if _inside == 0:
            _was_on = gc.isenabled()
            gc.disable()
        _inside += 1
    try:
        yield
    finally:
        with _lock:
            _inside -= 1
            if _inside == 0 and _was_on:
                gc.enable()
