"""What happens when something dies: a Redis, a worker, the whole service. No accepted part is lost."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import httpx
import pytest
import redis

from tests.service.conftest import Service, ended, post, redis_server, sabotaged, started, wait_until
from tests.service.scores import score

PARTS = 12
QUICK = {"CROOKLINE_SWEEP_SECONDS": "0.5"}


def long_parts(title: str, count: int = PARTS) -> list[tuple[str, bytes]]:
    """Parts that take a worker a good while each."""
    return [(f"{n}.xml", score("F", 120, f"{title} {n}")) for n in range(count)]


def descendants(pid: int) -> set[int]:
    """All processes started by a process, and by those."""
    found: set[int] = set()
    for task in Path(f"/proc/{pid}/task").glob("*/children"):
        with contextlib.suppress(OSError):
            for child in map(int, task.read_text().split()):
                found |= {child} | descendants(child)
    return found


def alive(pids: set[int]) -> set[int]:
    """Those of the processes that still run (and are not merely waited for)."""
    found = set()
    for pid in pids:
        with contextlib.suppress(OSError):
            if Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z":
                found.add(pid)
    return found


def command_line(pid: int) -> str:
    """What a process was started with."""
    with contextlib.suppress(OSError):
        return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode()
    return ""


def some_ended(client: httpx.Client, job_id: str) -> bool:
    """Whether a job is in the middle."""
    counts = client.get(f"/v1/jobs/{job_id}").json()["counts"]
    return bool(counts["done"] + counts["failed"] >= 2)


def test_a_redis_that_loses_everything_costs_no_part(tmp_path: Path) -> None:
    with (
        redis_or_skip(tmp_path) as url,
        started(tmp_path, environment={"CROOKLINE_REDIS_URL": url, **QUICK}) as service,
        service.client() as client,
    ):
        job_id = post(client, *long_parts("Flushed")).json()["id"]
        wait_until(lambda: some_ended(client, job_id))
        redis.Redis.from_url(url).flushall()
        job = ended(client, job_id, 90)
        assert job["state"] == "done"
        assert job["counts"]["done"] == PARTS  # type: ignore[index]
        assert '"found": "unknown"' in service.log.read_text()


def test_a_job_sent_while_redis_is_away_is_kept_and_done_later(tmp_path: Path) -> None:
    with contextlib.ExitStack() as stack:
        server = contextlib.ExitStack()
        url = server.enter_context(redis_or_skip(tmp_path))
        port = int(url.split(":")[2].partition("/")[0])
        service = stack.enter_context(started(tmp_path, environment={"CROOKLINE_REDIS_URL": url, **QUICK}))
        client = stack.enter_context(service.client())
        server.close()
        answer = post(client, *long_parts("Away", 3))
        assert answer.status_code == 202
        job_id = answer.json()["id"]
        assert client.get(f"/v1/jobs/{job_id}").json()["state"] == "queued"
        ready = client.get("/readyz")
        assert ready.status_code == 503
        assert ready.json()["checks"]["redis"]["ok"] is False
        assert ready.json()["checks"]["store"]["ok"] is True
        assert client.get("/healthz").status_code == 200
        stack.enter_context(redis_server(tmp_path / "redis", port))
        assert ended(client, job_id, 120)["state"] == "done"
        assert client.get("/readyz").status_code == 200


def test_a_killed_worker_process_costs_no_part(tmp_path: Path) -> None:
    with started(tmp_path, environment=QUICK) as service, service.client() as client:
        job_id = post(client, *long_parts("Killed worker")).json()["id"]
        wait_until(lambda: some_ended(client, job_id))
        (worker,) = [
            pid
            for pid in descendants(service.process.pid)
            if "celery" in command_line(pid) and "celery" not in command_line(parent(pid))
        ]
        children = [pid for pid in descendants(worker) if "celery" in command_line(pid)]
        os.kill(children[-1], signal.SIGKILL)
        job = ended(client, job_id, 90)
        assert job["state"] == "done"


def parent(pid: int) -> int:
    """Who started a process."""
    return int(Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[1])


def test_a_killed_worker_is_started_anew(tmp_path: Path) -> None:
    # Its lease has run out some seconds later; the sweep sends what it held again.
    short = sabotaged(tmp_path) | {"CROOKLINE_STALE_SECONDS": "3"} | QUICK
    with started(tmp_path, "--workers", "1", environment=short) as service, service.client() as client:
        job_id = post(client, *long_parts("part dawdles", 10)).json()["id"]
        wait_until(lambda: some_ended(client, job_id))
        (worker,) = [
            pid
            for pid in descendants(service.process.pid)
            if "celery" in command_line(pid) and "celery" not in command_line(parent(pid))
        ]
        os.kill(worker, signal.SIGKILL)
        job = ended(client, job_id, 120)
        assert job["state"] == "done"
        wait_until(lambda: "worker ended, starting another" in service.log.read_text())


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the kernel's help is Linux's")
def test_a_killed_service_leaves_no_process_and_the_next_one_finishes_its_jobs(tmp_path: Path) -> None:
    with started(tmp_path, killed=True, environment=QUICK) as service, service.client() as client:
        job_id = post(client, *long_parts("Killed service")).json()["id"]
        wait_until(lambda: some_ended(client, job_id))
        children = descendants(service.process.pid)
        assert len(children) >= 4  # a server, a worker and its processes
        service.process.kill()
        service.process.wait(10)
        wait_until(lambda: not alive(children), 10)
    with started(tmp_path, environment=QUICK) as service, service.client() as client:
        job = ended(client, job_id, 90)
        assert job["counts"]["done"] == PARTS  # type: ignore[index]


def test_a_service_ended_in_mid_job_finishes_its_parts_and_the_next_one_the_rest(tmp_path: Path) -> None:
    with started(tmp_path, environment=QUICK) as service, service.client() as client:
        job_id = post(client, *long_parts("Ended service")).json()["id"]
        wait_until(lambda: some_ended(client, job_id))
        children = descendants(service.process.pid)
    assert not alive(children)
    outcomes = list((tmp_path / "store" / "jobs" / "local" / job_id).glob("output/packs/*"))
    assert len(outcomes) >= 2
    with started(tmp_path, environment=QUICK) as service, service.client() as client:
        job: dict[str, Any] = ended(client, job_id, 90)
        assert job["counts"]["done"] == PARTS


def test_old_jobs_are_removed(tmp_path: Path) -> None:
    second = 1 / 86_400
    settings = {"CROOKLINE_KEEP_DAYS": str(3 * second), "CROOKLINE_EXPIRE_SECONDS": "0.5"}
    with started(tmp_path, "--workers", "1", environment=settings) as service, service.client() as client:
        job = ended(client, post(client, ("a.xml", score("F"))).json()["id"])
        path = f"/v1/jobs/{job['id']}"
        assert client.get(path).status_code == 200
        wait_until(lambda: client.get(path).status_code == 404)
        wait_until(lambda: not list(service.store.glob("jobs/*/*")))
        wait_until(lambda: not list(service.store.glob("results/*/*")))


def test_a_study_does_not_wait_behind_an_opera(service: Service) -> None:
    with service.client() as client:
        opera = post(client, *long_parts("Opera", 120)).json()["id"]
        sent = time.monotonic()
        study = post(client, ("study.xml", score("F", title="Study"))).json()["id"]
        ended(client, study)
        took = time.monotonic() - sent
        counts = client.get(f"/v1/jobs/{opera}").json()["counts"]
        # Not a timing: when the study had ended, most of the opera had not begun.
        assert counts["queued"] > 60, (counts, took)
        client.delete(f"/v1/jobs/{opera}")


@contextlib.contextmanager
def redis_or_skip(folder: Path) -> Any:
    """A redis-server that a test may kill."""
    try:
        subprocess.run(["redis-server", "--version"], check=True, capture_output=True)
    except FileNotFoundError:
        if os.environ.get("CI") == "true":
            pytest.fail("CI must have redis-server")
        pytest.skip("redis-server is not installed")
    with redis_server(folder / "redis") as url:
        yield url
