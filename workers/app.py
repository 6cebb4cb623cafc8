"""The Celery application: what carries the parts to the workers.

Start workers on as many hosts as wanted with ``celery -A workers.app worker``; they need the same
``CROOKLINE_REDIS_URL`` and ``CROOKLINE_STORE`` as the web server.
"""

from __future__ import annotations

import gc
import os
import platform
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

import redis
import structlog
from celery import Celery, platforms, signals
from celery.worker import state
from kombu.entity import Queue

from workers import logs, queues
from workers.context import INSTANCE, context
from workers.settings import Settings


def configuration(settings: Settings) -> dict[str, Any]:
    """Celery's settings for ours."""
    return {
        "broker_url": settings.redis_url or "redis://127.0.0.1:6379/0",
        "broker_connection_retry_on_startup": True,
        "broker_transport_options": {
            # A message taken by a worker that then vanished is handed out again after this long.
            "visibility_timeout": settings.redelivery_seconds,
            "queue_order_strategy": "round_robin",
            "priority_steps": [0],
        },
        "imports": ["workers.tasks"],
        "task_queues": [Queue(name) for name in queues.names(settings)],
        "task_default_queue": queues.UPKEEP,
        "task_create_missing_queues": False,
        "task_ignore_result": True,
        # A task is done when its outcome is in the store; until then it may be taken up again.
        "task_acks_late": True,
        "task_reject_on_worker_lost": True,
        "task_acks_on_timeout": False,
        "task_soft_time_limit": settings.task_seconds,
        "task_time_limit": settings.task_seconds + min(HARD_SECONDS, settings.task_seconds),
        # Take only what is worked on at once, or the lanes would not share fairly.
        "worker_prefetch_multiplier": 1,
        "worker_cancel_long_running_tasks_on_connection_loss": False,
        "worker_hijack_root_logger": False,
        "worker_max_tasks_per_child": 2000,
        # A process that ended may have said how its work went just before.
        "worker_lost_wait": 1.0,
        # A process that a large part has left large is replaced (kilobytes); see also _limit_memory.
        "worker_max_memory_per_child": settings.task_memory // 2000 or None,
        "beat_schedule": {
            "sweep": {"task": "crookline.sweep", "schedule": settings.sweep_seconds},
            "expire": {"task": "crookline.expire", "schedule": settings.expire_seconds},
        },
    }


HARD_SECONDS = 10
_pools: list[Any] = []  # that of this worker, once it is ready
app = Celery("crookline")
app.add_defaults(lambda: configuration(context().settings))


@signals.setup_logging.connect  # type: ignore[untyped-decorator]
def _set_up_logging(**_: object) -> None:
    logs.configure(context().settings.log)


@signals.worker_init.connect  # type: ignore[untyped-decorator]
def _load_library(**_: object) -> None:
    # Read before the pool forks, so that its processes share it and the first part is not slower.
    from annotator import annotation  # noqa: F401, PLC0415

    # What is loaded now stays; the collector need not look at it again in every process.
    gc.collect()
    gc.freeze()


@signals.beat_embedded_init.connect  # type: ignore[untyped-decorator]
def _end_with_worker(**_: object) -> None:
    # Celery sees to this for the processes of the pool, not for the scheduler's.
    platforms.set_pdeathsig("SIGKILL")


@signals.worker_ready.connect  # type: ignore[untyped-decorator]
def _look_for_lost_work(sender: Any = None, **_: object) -> None:
    app.send_task("crookline.sweep")
    _pools[:] = [sender.pool] if getattr(sender, "pool", None) else []


@signals.worker_process_init.connect  # type: ignore[untyped-decorator]
def _begin_process(**_: object) -> None:
    structlog.contextvars.bind_contextvars(host=platform.node(), worker=os.getpid())
    limit_memory(context().settings.task_memory)


def limit_memory(task_memory: int) -> None:
    """Let this process take so many bytes more than it has now; beyond that it gets a MemoryError. Where
    the system has no such limit (on macOS) nothing is done."""
    if not task_memory or not sys.platform.startswith("linux"):
        return
    import resource  # noqa: PLC0415 - Windows has none

    has = next(
        int(line.split()[1]) * 1024
        for line in Path("/proc/self/status").read_text().splitlines()
        if line.startswith("VmData:")
    )
    resource.setrlimit(resource.RLIMIT_DATA, (has + task_memory, has + task_memory))


@signals.heartbeat_sent.connect  # type: ignore[untyped-decorator]
def _alive(sender: Any = None, **_: object) -> None:
    """Say that this worker lives and what it has in hand: its lease on the messages it has taken."""
    for pool in _pools:  # the pool itself looks for ended processes every five seconds
        pool.maintain_pool()
    name = getattr(getattr(sender, "eventer", None), "hostname", "worker")
    taken = [*state.reserved_requests, *state.active_requests, *state.scheduled_requests]
    held = [tuple(request.args) for request in taken if request.name == "crookline.mark"]
    with suppress(redis.RedisError):  # the worker sees for itself that Redis is away
        listens = app.amqp.queues.consume_from
        context().hands.say(INSTANCE, name, listens, held, {request.id for request in taken})
