"""The faults: each is done to a service in the midst of a job."""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import redis

from tests.service.conftest import Service, wait_until
from tests.service.test_recovery import command_line, descendants, parent
from workers.embedded import free_port


@dataclass
class Stage:
    """Where a fault is done: the service, its Redis if it has one of its own, a folder, chance."""

    folder: Path
    chance: random.Random
    restart: Callable[[], Service]
    service: Service | None = None
    server: subprocess.Popen[bytes] | None = None
    port: int = 0
    stack: ExitStack = field(default_factory=ExitStack)

    @property
    def here(self) -> Service:
        """The service that runs now."""
        assert self.service is not None
        return self.service

    def processes(self, word: str) -> list[int]:
        """The service's processes with a word in their command line."""
        return [pid for pid in descendants(self.here.process.pid) if word in command_line(pid)]

    def worker(self) -> int:
        """The main process of the worker."""
        wait_until(self._mains)
        return self._mains()[0]

    def _mains(self) -> list[int]:
        return [pid for pid in self.processes("celery") if "celery" not in command_line(parent(pid))]


def redis_with_a_log(folder: Path, port: int) -> subprocess.Popen[bytes]:
    """A redis-server that keeps its append-only file."""
    folder.mkdir(parents=True, exist_ok=True)
    command = ["redis-server", "--port", str(port), "--bind", "127.0.0.1", "--save", "", "--dir", str(folder)]
    command += ["--appendonly", "yes", "--appendfsync", "everysec", "--aof-load-truncated", "yes"]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    wait_until(lambda: _pings(port))
    return process


def _pings(port: int) -> bool:
    try:
        return bool(redis.Redis(port=port).ping())
    except redis.RedisError:
        return False


def own_redis(stage: Stage) -> dict[str, str]:
    """A Redis that the fault may do something to."""
    stage.port = free_port()
    stage.server = redis_with_a_log(stage.folder / "redis", stage.port)

    def end() -> None:
        if stage.server is not None:
            stage.server.kill()

    stage.stack.callback(end)
    return {"CROOKLINE_REDIS_URL": f"redis://127.0.0.1:{stage.port}/0"}


def kill_a_process(stage: Stage) -> None:
    """A process of the worker's pool."""
    worker = stage.worker()
    children = [pid for pid in descendants(worker) if "celery" in command_line(pid)]
    os.kill(stage.chance.choice(children), signal.SIGKILL)


def kill_the_worker(stage: Stage) -> None:
    """The worker's main process; its processes end with it."""
    os.kill(stage.worker(), signal.SIGKILL)


def kill_the_service(stage: Stage) -> None:
    """Everything; another is started on the same store."""
    stage.here.process.kill()
    stage.here.process.wait(10)
    stage.service = stage.restart()


def kill_the_queue_server(stage: Stage) -> None:
    """The server that serve started for its queue."""
    for pid in stage.processes("valkey-server"):
        os.kill(pid, signal.SIGKILL)


def empty_redis(stage: Stage) -> None:
    """Redis loses everything."""
    redis.Redis(port=stage.port).flushall()


def tear_the_log(stage: Stage) -> None:
    """Redis is killed, loses the end of its append-only file, and comes back after a while."""
    assert stage.server is not None
    stage.server.kill()
    stage.server.wait()
    for log in (stage.folder / "redis" / "appendonlydir").glob("*.incr.aof"):
        data = log.read_bytes()
        log.write_bytes(data[: len(data) - stage.chance.randrange(min(len(data), 3000) or 1)])
    time.sleep(stage.chance.uniform(0.2, 2.0))
    stage.server = redis_with_a_log(stage.folder / "redis", stage.port)


def _store(what: str, seconds: tuple[float, float]) -> Callable[[Stage], None]:
    def fault(stage: Stage) -> None:
        note = stage.folder / "fault"
        note.write_text(what)
        time.sleep(stage.chance.uniform(*seconds))
        note.unlink()

    return fault


def send_everything_again(stage: Stage) -> None:
    """Every message comes twice, as when a lease had run out: two workers are at one part."""
    client: Any = redis.Redis(port=stage.port)
    for queue in client.scan_iter("*-[0-9]*"):
        if client.type(queue) == b"list":
            for message in client.lrange(queue, 0, -1):
                client.rpush(queue, message)


def clock(stage: Stage) -> None:
    """The clock of the workers jumps by hours, either way, and comes back after a while."""
    note = stage.folder / "fault"
    note.write_text(f"clock {stage.chance.choice((-7200, 7200, 86_400))}")
    time.sleep(stage.chance.uniform(1.0, 3.0))
    note.unlink()


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault: what is done, what the service needs for it, and the reason a part may then fail with."""

    name: str
    inflict: Callable[[Stage], None]
    needs: Callable[[Stage], dict[str, str]] = lambda _: {}
    poison: str = ""
    reason: str = ""


FAULTS = (
    Fault("a process of the pool killed", kill_a_process),
    Fault("the worker killed", kill_the_worker),
    Fault("the whole service killed", kill_the_service),
    Fault("valkey killed under serve", kill_the_queue_server),
    Fault("Redis emptied", empty_redis, own_redis),
    Fault("Redis killed, its file torn", tear_the_log, own_redis),
    Fault("the store full", _store("full", (2.0, 8.0))),
    Fault("the store away", _store("away", (2.0, 8.0))),
    Fault("the store slow", _store("slow", (2.0, 4.0))),
    Fault("every message twice", send_everything_again, own_redis),
    Fault("the clock jumps", clock),
    Fault("a part that kills", lambda _: None, poison="part dies slowly", reason="worker-lost"),
    Fault("a part that hangs", lambda _: None, poison="part hangs", reason="took-too-long"),
    Fault("a part that swells", lambda _: None, poison="part wants all memory", reason="too-much-memory"),
    Fault("a part that breaks", lambda _: None, poison="part breaks", reason="internal-error"),
    Fault("a product that kills", lambda _: None, poison="product kills its process", reason="worker-lost"),
)
NAMED = {fault.name: fault for fault in FAULTS}


def available() -> list[Fault]:
    """The faults that can be tried here: some want Debian's redis-server."""
    return [fault for fault in FAULTS if fault.needs is not own_redis or shutil.which("redis-server")]
