"""Parts and products that end, hang or swell their process: a few tries, then the true reason. One service,
whose processes do what a score's title says."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.service.conftest import Service, ended, post, sabotaged, started, wait_until
from tests.service.kept import accepted
from tests.service.scores import score
from tests.service.test_recovery import QUICK, command_line, descendants, long_parts, some_ended
from workers import parts, products
from workers.context import Context
from workers.jobs import Job
from workers.live import Runner
from workers.status import status

TRIES = 3


@pytest.fixture(scope="module")
def faulty(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service with short limits."""
    limits = {"CROOKLINE_TASK_SECONDS": "2", "CROOKLINE_TASK_MEMORY": "300000000", **QUICK}
    folder = tmp_path_factory.mktemp("faulty")
    with started(folder, "--workers", "2", environment=sabotaged(folder) | limits) as running:
        yield running


@pytest.mark.parametrize(
    ("deed", "code", "words", "tries"),
    [
        ("dies slowly", "worker-lost", "SIGKILL", TRIES),
        ("hangs", "took-too-long", "2 seconds", 1),
        ("sleeps", "took-too-long", "2 seconds", 0),
        ("wants all memory", "too-much-memory", "300 MB", 0),
        ("breaks", "internal-error", "a fault in the program", 0),
    ],
)
def test_a_deadly_part_ends_with_the_true_reason_and_costs_no_other(
    faulty: Service, deed: str, code: str, words: str, tries: int
) -> None:
    files = [(f"{n}.xml", score("F", title=f"{deed} {n}")) for n in range(3)]
    files.insert(1, ("deadly.xml", score("F", title=f"part {deed}")))
    with faulty.client() as client:
        job: dict[str, Any] = ended(client, post(client, *files).json()["id"], 90)
    assert job["counts"] == {"queued": 0, "running": 0, "done": 3, "failed": 1}
    reason = job["parts"][1]["reason"]
    assert reason["code"] == code
    assert words in reason["message"]
    assert broken(faulty, job["id"]) == tries


@pytest.mark.parametrize(
    ("deed", "words"),
    [
        ("kills its process", "ended its process 3 times"),
        ("hangs", "given up after 2 seconds"),
        ("breaks", "a fault in the program"),
    ],
)
def test_a_deadly_product_ends_with_the_true_reason(faulty: Service, deed: str, words: str) -> None:
    with faulty.client() as client:
        sent = post(client, ("a.xml", score("F", title=f"product {deed}")))
        job: dict[str, Any] = ended(client, sent.json()["id"])
        address = job["parts"][0]["links"]["transposed"]
        answer = client.get(address)
        assert answer.status_code == 422
        assert words in answer.json()["detail"]
        tries = broken(faulty, job["id"])
        assert tries <= TRIES
        assert client.get(address).status_code == 422
        assert broken(faulty, job["id"]) == tries  # what is known is not tried again


def test_deleting_a_job_ends_what_runs_for_it(tmp_path: Path) -> None:
    with (
        started(tmp_path, "--workers", "1", environment=sabotaged(tmp_path) | QUICK) as service,
        service.client() as client,
    ):
        endless = post(client, ("endless.xml", score("F", title="part hangs"))).json()["id"]
        wait_until(lambda: client.get(f"/v1/jobs/{endless}").json()["counts"]["running"])
        assert client.delete(f"/v1/jobs/{endless}").status_code == 204
        # The one process there is is free again, long before the time limit.
        job = ended(client, post(client, ("next.xml", score("F"))).json()["id"], 30)
        assert job["state"] == "done"


def test_a_killed_queue_server_is_started_anew_and_costs_no_part(tmp_path: Path) -> None:
    with started(tmp_path, environment=QUICK) as service, service.client() as client:
        job_id = post(client, *long_parts("Queue", 30)).json()["id"]
        wait_until(lambda: some_ended(client, job_id))
        (server,) = [pid for pid in descendants(service.process.pid) if "valkey-server" in command_line(pid)]
        os.kill(server, signal.SIGKILL)
        job = ended(client, job_id, 90)
        assert job["state"] == "done"
        assert client.get("/readyz").status_code == 200
    assert "queue server ended, starting another" in service.log.read_text()


def test_an_outage_of_the_store_is_no_beginning(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    job = accepted(context, ("a.xml", score("F")))

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    for call in ("put_pack", "inputs"):
        with monkeypatch.context() as patch:
            patch.setattr(context.store, call, full)
            for _ in range(2 * TRIES):
                with pytest.raises(OSError, match="No space"):
                    parts.run(context, job.ref, [1], time.time())
    assert parts.run(context, job.ref, [1], time.time()) == job
    assert status(context, job).state == "done"


def test_the_store_is_waited_for(tmp_path: Path) -> None:
    fault = tmp_path / "fault"
    with (
        started(tmp_path, "--workers", "2", environment=sabotaged(tmp_path) | QUICK) as service,
        service.client() as client,
    ):
        job_id = post(client, *long_parts("Full")).json()["id"]
        wait_until(lambda: some_ended(client, job_id))
        fault.write_text("full")
        wait_until(lambda: service.log.read_text().count('"outage"') >= 2 * TRIES)
        fault.unlink()
        job: dict[str, Any] = ended(client, job_id, 90)
    assert job["state"] == "done"
    assert "No space left on device" in service.log.read_text()  # the log names the store and what it said


def test_a_file_that_is_gone_from_the_store_is_said_to_be(context: Context) -> None:
    job = accepted(context, ("a.xml", score("F")), ("b.xml", score("E")))
    context.store.files.remove(f"jobs/{job.ref}/input/files")
    assert parts.run(context, job.ref, [1, 2], time.time()) == job
    reason = status(context, job).outcomes[1].reason
    assert reason is not None
    assert reason.code == "input-lost"


def test_what_a_live_worker_has_in_hand_is_not_done_twice(
    context: Context, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = accepted(context, ("a.xml", score("F")))
    other = Runner("one:1", "one", "a message")
    context.live.begin(job, job.parts[0], other)
    context.live.begin_product(job, job.parts[0], "transposed", other)
    context.hands.say("one", "one@here", messages=["a message"])
    for _ in range(2 * TRIES):
        assert parts.run(context, job.ref, [1], time.time()) is None
        products.make(context, job.ref, 1, "transposed")
    assert context.store.outcomes(job) == {}
    context.hands.say("one", "one@here")  # it has let go
    assert parts.run(context, job.ref, [1], time.time()) == job
    products.make(context, job.ref, 1, "transposed")
    made = products.made(context, job, job.parts[0], "transposed")
    assert made is not None
    assert made.fault == ""


def test_a_job_is_ended_once_however_often_its_last_messages_come(context: Context) -> None:
    job: Job = accepted(context, *((f"{n}.xml", score("F", title=str(n))) for n in range(3)))
    closed = [parts.run(context, job.ref, [1, 2, 3], time.time()) for _ in range(4)]
    assert closed == [job, None, None, None]
    context.connection.delete(f"crookline:job:{job.ref}:sent", f"crookline:job:{job.ref}:ended")
    assert parts.run(context, job.ref, [1, 2, 3], time.time()) is None
    events = context.connection.xrange(f"crookline:job:{job.ref}:events")
    told = [(values["event"], values["data"]) for _, values in events]  # type: ignore[union-attr]
    assert len(told) == len(set(told)) == 7  # three begin, three end, the job ends


def broken(service: Service, job_id: str) -> int:
    """How many processes ended in the midst of a job's work."""
    lines = service.log.read_text().splitlines()
    return sum('"work broke off"' in line and job_id in line for line in lines)
