"""The service as its users meet it: a process of its own, a real queue, real workers."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest
import redis

from tests.service.scores import BAD_SCORE, score
from workers.context import Context
from workers.embedded import free_port, server_binary
from workers.settings import Settings

ROOT = Path(__file__).parents[2]
UNLIMITED = {"CROOKLINE_RATE": "1000000 per minute"}  # the tests together ask more than a key may
QUEUES = ("valkey", "redis-server")


@dataclass(frozen=True, slots=True)
class Service:
    """A service that runs: its address, the process, and where it keeps jobs."""

    url: str
    process: subprocess.Popen[str]
    store: Path
    log: Path

    def client(self, **more: object) -> httpx.Client:
        """A plain HTTP client for it."""
        return httpx.Client(base_url=self.url, timeout=60, **more)  # type: ignore[arg-type]


@contextmanager
def started(
    folder: Path,
    *arguments: str,
    environment: Mapping[str, str] | None = None,
    killed: bool = False,
    store: str = "store",
) -> Iterator[Service]:
    """``crookline serve`` on a free port, its log in a file; ended by SIGTERM, and that must work
    (unless the test kills it itself)."""
    folder.mkdir(parents=True, exist_ok=True)
    log = folder / "serve.log"
    where = ["--store", str(folder / store)] if store else []
    command = [sys.executable, "-c", "from annotator.cli import main; main()", "serve", "--port", "0"]
    given = this_checkout()
    with log.open("w") as stream:
        process = subprocess.Popen(
            [*command, *where, *arguments],
            stdout=subprocess.PIPE,
            stderr=stream,
            text=True,
            cwd=folder,
            env={**given, **(environment or {})},
        )
    try:
        assert process.stdout is not None
        line = process.stdout.readline()
        assert line.startswith("Crookline listens on http://"), line + log.read_text()
        yield Service(line.split()[3].rstrip("/"), process, folder / "store", log)
    finally:
        process.send_signal(signal.SIGTERM)
        try:
            assert process.wait(60) == (-signal.SIGKILL if killed else 0)
        finally:
            process.kill()


def this_checkout() -> dict[str, str]:
    """The environment for a process that is to run the code these tests stand beside, whatever is installed;
    without any settings."""
    given = {name: value for name, value in os.environ.items() if not name.startswith("CROOKLINE_")}
    return {**given, "PYTHONPATH": str(ROOT)}


def sabotaged(folder: Path) -> dict[str, str]:
    """The environment of a service whose processes do what a score's title says (see ``saboteur``), and whose
    store fails as the file ``fault`` in the folder says."""
    path = os.pathsep.join([str(ROOT / "tests" / "service" / "saboteur"), str(ROOT)])
    return {"PYTHONPATH": path, "CROOKLINE_TEST_STORE_FAULT": str(folder / "fault")}


@contextmanager
def redis_server(folder: Path, port: int = 0) -> Iterator[str]:
    """Debian's redis-server on a free port; gives its URL."""
    port = port or free_port()
    command = ["redis-server", "--port", str(port), "--bind", "127.0.0.1", "--save", "", "--appendonly", "no"]
    folder.mkdir(parents=True, exist_ok=True)
    process = subprocess.Popen([*command, "--dir", str(folder)], stdout=subprocess.DEVNULL)
    url = f"redis://127.0.0.1:{port}/0"
    try:
        wait_until(lambda: _pings(url))
        yield url
    finally:
        process.terminate()
        process.wait(10)


def _pings(url: str) -> bool:
    try:
        return bool(redis.Redis.from_url(url).ping())
    except redis.RedisError:
        return False


def wait_until(condition: object, seconds: float = 30) -> None:
    """Wait, no longer than needed, until a condition holds."""
    assert callable(condition)
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline, "it did not come about in time"
        time.sleep(0.02)


@pytest.fixture(scope="session", params=QUEUES)
def service(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """The service without keys, once on the embedded server and once on Debian's redis-server."""
    folder = tmp_path_factory.mktemp("service")
    if request.param == "valkey":
        with started(folder, environment=UNLIMITED) as running:
            yield running
        return
    if shutil.which("redis-server") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("CI must have redis-server")
        pytest.skip("redis-server is not installed")
    with (
        redis_server(folder / "redis") as url,
        started(folder, environment={"CROOKLINE_REDIS_URL": url, **UNLIMITED}) as running,
    ):
        yield running


@pytest.fixture
def client(service: Service) -> Iterator[httpx.Client]:
    """An HTTP client for the service."""
    with service.client() as client:
        yield client


def post(client: httpx.Client, *files: tuple[str, bytes], **fields: str) -> httpx.Response:
    """Send files as a job."""
    return client.post("/v1/jobs", files=[("files", file) for file in files], data=fields)


def ended(client: httpx.Client, job_id: str, seconds: float = 60) -> dict[str, object]:
    """A job's document once it has ended."""
    deadline = time.monotonic() + seconds
    while True:
        job: dict[str, object] = client.get(f"/v1/jobs/{job_id}").raise_for_status().json()
        if job["state"] in ("done", "partly", "failed"):
            return job
        assert time.monotonic() < deadline, job
        time.sleep(0.02)


@pytest.fixture
def mixed_job(client: httpx.Client) -> dict[str, object]:
    """A job of two good files and a bad one, ended."""
    answer = post(client, ("one.musicxml", score("F")), ("bad.musicxml", BAD_SCORE), ("two.xml", score("E")))
    assert answer.status_code == 202, answer.text
    return ended(client, answer.json()["id"])


@pytest.fixture(scope="session")
def queue_url(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The server that comes with the program, alone, for tests of what works with it."""
    port = free_port()
    folder = tmp_path_factory.mktemp("queue")
    command = [
        server_binary(),
        "--port",
        str(port),
        "--bind",
        "127.0.0.1",
        "--save",
        "",
        "--dir",
        str(folder),
    ]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    url = f"redis://127.0.0.1:{port}/0"
    wait_until(lambda: _pings(url))
    yield url
    process.terminate()
    process.wait(10)


@pytest.fixture
def context(queue_url: str, tmp_path: Path) -> Iterator[Context]:
    """A store and a queue server of its own."""
    found = Context(Settings(redis_url=queue_url, store=str(tmp_path / "store"), sweep_seconds=0))
    found.connection.flushall()
    yield found
    found.connection.close()
