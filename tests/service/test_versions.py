"""What other versions wrote: earlier ones, the next one, and what nobody can read."""

from __future__ import annotations

import io
import json
import shutil
import time
import zipfile
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

import annotator
from tests.service.conftest import ended, post, sabotaged, started
from tests.service.kept import accepted
from tests.service.scores import score
from tests.service.test_recovery import QUICK, redis_or_skip
from workers import archive, parts, products, upkeep
from workers.context import Context
from workers.jobs import Job
from workers.status import status
from workers.stored import OUTCOME, outcome_from_json, outcome_to_json

EARLIER = Path(__file__).with_name("earlier")


@pytest.mark.parametrize("version", sorted(path.name for path in EARLIER.iterdir()))
def test_a_store_of_an_earlier_version_is_read_and_finished(context: Context, version: str) -> None:
    shutil.copytree(EARLIER / version, context.store.files.root, dirs_exist_ok=True)
    done, large, half, waiting = (
        context.store.job(f"local/{name}") for name in context.store.ids("local")[::-1]
    )
    assert done and large and half and waiting  # noqa: PT018 - one question
    assert status(context, done).state == "partly"
    assert status(context, large).state == "done"
    for job in (done, large):
        outcome = context.store.outcomes(job)[1]
        marked = context.store.result(job, job.parts[0], outcome, "annotated")
        assert marked is not None
        assert annotator.strip(marked) == context.store.input(job, job.parts[0])
    made = products.made(context, done, done.parts[0], "transposed")
    assert made is not None
    assert made.sha256
    with zipfile.ZipFile(archive.Archive(context.store, done, status(context, done))) as opened:
        assert {"one.musicxml", "bad.xml.failed.txt", "summary.json"} <= set(opened.namelist())
    # What was half done then is finished now, and nothing is done again.
    sent: list[tuple[str, list[int]]] = []
    upkeep.sweep(context, lambda job, numbers: sent.append((job.ref, numbers)), lambda _: None)
    assert sorted(sent) == sorted([(half.ref, [2]), (waiting.ref, [1, 2])])
    for ref, numbers in sent:
        assert parts.run(context, ref, numbers, time.time())
    assert status(context, half).state == status(context, waiting).state == "done"


DAMAGED = {
    "no JSON": b"{",
    "of a later shape": b'{"schema": "crookline.job/2", "parts": []}',
    "a list": b"[]",
    "parts missing": b'{"schema": "crookline.job/1"}',
    "a part without its name": b'{"parts": [{"n": 1, "size": 3, "sha256": "", "kind": "musicxml"}]}',
    "a size in words": b'{"parts": [{"n": 1, "name": "a", "size": "many", "sha256": "", "kind": "mxl"}]}',
}


def test_a_job_nobody_can_read_is_nobody_elses_trouble(tmp_path: Path) -> None:
    second = {"CROOKLINE_KEEP_DAYS": "0.5"}
    with (
        started(tmp_path, "--workers", "1", environment=QUICK | second) as service,
        service.client() as client,
    ):
        first = ended(client, post(client, ("a.xml", score("F"))).json()["id"])
        folder = service.store / "jobs" / "local"
        for n, data in enumerate(DAMAGED.values()):
            name = f"{int(time.time() * 1000) - 60_000:011x}{n:020x}"
            (folder / name).mkdir()
            (folder / name / "job.json").write_bytes(data)
            (service.store / "active").mkdir(exist_ok=True)
            (service.store / "active" / f"local~{name}").touch()
        # One after them, whose messages are lost: the sweep comes to it all the same.
        later = post(client, ("b.xml", score("E"))).json()["id"]
        assert ended(client, later)["state"] == "done"
        listed = client.get("/v1/jobs").raise_for_status().json()["jobs"]
        states = [job["state"] for job in listed]
        assert sorted(states) == ["done"] * 2 + ["unreadable"] * len(DAMAGED)
        assert client.get("/").status_code == 200
        bad = next(job["id"] for job in listed if job["state"] == "unreadable")
        document = client.get(f"/v1/jobs/{bad}").raise_for_status().json()
        assert document["unreadable"]
        assert client.get(f"/jobs/{bad}").status_code == 200
        assert client.get(f"/v1/jobs/{bad}/archive").status_code == 409
        assert client.delete(f"/v1/jobs/{bad}").status_code == 204
        assert client.get(f"/v1/jobs/{first['id']}").json()["state"] == "done"
        metrics = client.get("/metrics").text
        assert f'crookline_swept_total{{found="unreadable"}} {float(len(DAMAGED))}' in metrics


def test_what_a_later_version_adds_is_kept() -> None:
    values = {"n": 3, "state": "done", "finished": 1.0, "tuned": {"by": "ear"}, "schema": OUTCOME}
    outcome = outcome_from_json(json.dumps(values))
    assert outcome.more == {"tuned": {"by": "ear"}}
    assert json.loads(outcome_to_json(outcome))["tuned"] == {"by": "ear"}


def test_an_outcome_that_is_damaged_is_come_to_again(context: Context) -> None:
    job: Job = accepted(context, ("a.xml", score("F")), ("b.xml", score("E")))
    assert parts.run(context, job.ref, [1, 2], time.time()) == job
    root = Path(context.store.files.root) / "jobs" / job.ref / "output"
    (root / "ended.json").write_bytes(b"[{")
    (pack,) = (root / "packs").iterdir()
    pack.write_bytes(b"x" + pack.read_bytes()[1:])
    context.connection.flushall()
    context.store.files.write("active/" + job.ref.replace("/", "~"), b"")
    fresh = Context(context.settings)
    sent: list[list[int]] = []
    upkeep.sweep(fresh, lambda _, numbers: sent.append(numbers), lambda _: None)
    assert sent == [[1, 2]]
    parts.run(fresh, job.ref, [1, 2], time.time())
    assert status(fresh, job).state == "done"
    assert {outcome.n for outcome in fresh.store.ended(job) or ()} == {1, 2}
    fresh.connection.close()


def test_a_service_is_rolled_forward_and_back_under_load(tmp_path: Path) -> None:
    """Two hosts on one queue and one store: this version, and one that writes a field more and one less."""
    with ExitStack() as stack:
        url = stack.enter_context(redis_or_skip(tmp_path))
        shared = QUICK | {"CROOKLINE_REDIS_URL": url, "CROOKLINE_STORE": str(tmp_path / "shared")}
        following = shared | sabotaged(tmp_path) | {"CROOKLINE_TEST_NEXT": "1"}
        jobs: list[str] = []
        one = ("--workers", "1")

        def load(service: Any, title: str) -> None:
            with service.client() as client:
                files = [(f"{n}.xml", score("F", 20, f"{title} {n}")) for n in range(8)]
                jobs.append(post(client, *files).json()["id"])

        def all_done(service: Any) -> None:
            with service.client() as client:
                for job_id in jobs:
                    job: dict[str, Any] = ended(client, job_id, 90)
                    assert job["counts"] == {"queued": 0, "running": 0, "done": 8, "failed": 0}
                assert len(client.get("/v1/jobs").raise_for_status().json()["jobs"]) == len(jobs)
                whole = client.get(f"/v1/jobs/{jobs[0]}/archive").content
                assert zipfile.ZipFile(io.BytesIO(whole)).testzip() is None

        with ExitStack() as this:
            old = this.enter_context(
                started(tmp_path / "one", "--workers", "1", environment=shared, store="")
            )
            load(old, "Before")
            with started(tmp_path / "two", *one, environment=following, store="") as new:
                load(old, "Both, old")
                load(new, "Both, new")
                this.close()  # rolled forward, in the midst of the work
                load(new, "Forward")
                all_done(new)
                load(new, "Before it goes back")
                back = stack.enter_context(started(tmp_path / "three", *one, environment=shared, store=""))
        load(back, "Back")
        all_done(back)
        kept = [path.read_bytes() for path in (tmp_path / "shared").glob("jobs/*/*/output/ended.json")]
        assert any(b'"tuned"' in data for data in kept)
        assert any(b'"mood"' in path.read_bytes() for path in (tmp_path / "shared").glob("jobs/*/*/job.json"))
