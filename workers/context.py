"""What a process of the service works with: settings, store, and the live state in Redis."""

from __future__ import annotations

import os
import platform
import secrets
from dataclasses import dataclass
from functools import cached_property

import redis

from workers.hands import Hands
from workers.live import Live, connect
from workers.settings import Settings
from workers.store import Store

# A worker and the processes of its pool share this: they are forked from one that has it.
INSTANCE = secrets.token_hex(6)


class Context:
    """Settings, and what is opened by them when first used."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings

    @cached_property
    def store(self) -> Store:
        """The jobs."""
        return Store(self.settings.store)

    @cached_property
    def connection(self) -> redis.Redis:
        """Redis."""
        return connect(self.settings.redis_url)

    @cached_property
    def live(self) -> Live:
        """What is going on now."""
        return Live(self.connection)

    @cached_property
    def hands(self) -> Hands:
        """The workers that live, and what they have in hand."""
        return Hands(self.connection)


@dataclass(slots=True)
class _Current:
    process: int = 0
    context: Context | None = None


_current = _Current()


def context() -> Context:
    """The context of this process, from the environment; a forked process gets its own."""
    if _current.context is None or _current.process != os.getpid():
        _current.context = Context(Settings.from_environment())
        _current.process = os.getpid()
    return _current.context


def worker_name() -> str:
    """This process, for logs and job documents."""
    return f"{platform.node()}:{os.getpid()}"


def adopt(settings: Settings) -> Context:
    """Use these settings in this process; before the queue is first used."""
    _current.context = Context(settings)
    _current.process = os.getpid()
    return _current.context
