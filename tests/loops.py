"""Coroutines run in a thread of their own: tests of a browser leave a loop that runs in the first one."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

T = TypeVar("T")


def run(coroutine: Coroutine[Any, Any, T]) -> T:
    """What the coroutine gives."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, coroutine).result()
