"""The work on a part, and the sweep, called directly: everything may run twice, anything may go wrong."""

from __future__ import annotations

import json
import socket
import threading
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from billiard.exceptions import SoftTimeLimitExceeded

import annotator
from api.health import checks
from tests.service.conftest import wait_until
from tests.service.kept import accepted, files_of
from tests.service.scores import BAD_SCORE, score
from workers import parts, queues, reasons, removal, upkeep
from workers.context import Context
from workers.jobs import Job, new_id
from workers.keys import Key
from workers.live import Runner
from workers.outages import GaveUp
from workers.settings import Settings
from workers.status import status
from workers.stored import job_to_json


def test_a_task_that_runs_twice_does_the_same_again(context: Context) -> None:
    job = accepted(context, ("a.xml", score("F")), ("bad.xml", BAD_SCORE))
    assert parts.run(context, job.ref, [1], time.time()) is None
    assert parts.run(context, job.ref, [2], time.time()) == job
    once = files_of(context)
    parts.run(context, job.ref, [1], time.time())
    parts.run(context, job.ref, [2], time.time())
    assert files_of(context) == once
    assert status(context, job).state == "partly"


def test_a_fault_of_ours_fails_one_part_only(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    real = annotator.annotate

    def faulty(data: bytes, options: Any, name: str) -> Any:
        if name == "b.xml":
            raise RuntimeError("a secret of the inside")
        return real(data, options, name)

    monkeypatch.setattr(annotator, "annotate", faulty)
    job = accepted(context, ("a.xml", score("F")), ("b.xml", score("E")), ("c.xml", score("D")))
    for part in job.parts:
        parts.run(context, job.ref, [part.n], time.time())
    stands = status(context, job)
    assert stands.state == "partly"
    reason = stands.outcomes[2].reason
    assert reason is not None
    assert reason.code == "internal-error"
    assert job.id in reason.message
    assert "secret" not in reason.message


def test_a_part_that_takes_too_long_fails_with_its_reason(
    context: Context, monkeypatch: pytest.MonkeyPatch
) -> None:
    context.settings = replace(context.settings, task_seconds=1)
    seconds = [0.0, 0.9]

    def endless(*_: Any) -> Any:
        time.sleep(seconds.pop(0))
        raise SoftTimeLimitExceeded

    monkeypatch.setattr(annotator, "annotate", endless)
    job = accepted(context, ("a.xml", score("F")))
    with pytest.raises(GaveUp):  # what was spent on other things is not the part's fault
        parts.run(context, job.ref, [1], time.time())
    parts.run(context, job.ref, [1], time.time())
    reason = status(context, job).outcomes[1].reason
    assert reason is not None
    assert reason.code == "took-too-long"


def test_a_part_that_kills_its_worker_each_time_is_given_up(context: Context) -> None:
    job = accepted(context, ("a.xml", score("F")))
    for _ in range(reasons.MAX_BEGINNINGS):
        context.live.begin(job, job.parts[0], Runner("a worker that died", "gone"))
    context.live.broke_off(job.ref, "1", "signal 9 (SIGKILL)")
    assert parts.run(context, job.ref, [1], time.time()) == job
    reason = status(context, job).outcomes[1].reason
    assert reason is not None
    assert reason.code == "worker-lost"
    assert "SIGKILL" in reason.message


def test_a_job_cancelled_while_it_runs_leaves_nothing(
    context: Context, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = accepted(context, ("a.xml", score("F")))
    real = annotator.annotate

    def cancelled_meanwhile(*arguments: Any) -> Any:
        removal.remove(context, job.ref)
        return real(*arguments)

    monkeypatch.setattr(annotator, "annotate", cancelled_meanwhile)
    assert parts.run(context, job.ref, [1], time.time()) is None
    assert not [name for name in files_of(context) if name.startswith(("jobs/", "active/"))]
    assert parts.run(context, job.ref, [1], time.time()) is None


def test_a_store_that_fails_is_not_the_parts_fault(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    job = accepted(context, ("a.xml", score("F")))

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(context.store, "put_pack", full)
        with pytest.raises(OSError, match="No space"):
            parts.run(context, job.ref, [1], time.time())
    assert context.store.outcome(job, job.parts[0]) is None
    assert parts.run(context, job.ref, [1], time.time()) == job


def test_a_write_broken_off_leaves_the_old_file(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    files = context.store.files
    files.write("a", b"old")

    def broken(self: Path, target: Path) -> None:
        raise OSError("the power went")

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", broken)
        with pytest.raises(OSError, match="the power went"):
            files.write("a", b"new")
    assert files_of(context) == {"a": b"old"}


def test_the_sweep_sends_what_was_lost_and_only_that(context: Context) -> None:
    job = accepted(context, *((f"{n}.xml", score("F", title=str(n))) for n in range(3)))
    parts.run(context, job.ref, [2], time.time())
    context.connection.flushall()
    sent: list[tuple[str, list[int]]] = []

    def send(lost: Job, numbers: list[int]) -> None:
        sent.append((lost.ref, numbers))
        context.live.queued(lost, numbers)

    assert upkeep.sweep(context, send, lambda _: None) == 2
    assert sent == [(job.ref, [1, 3])]
    assert upkeep.sweep(context, send, lambda _: None) == 0  # they are on their way now
    ended: list[str] = []
    for n in (1, 3):
        parts.run(context, job.ref, [n], time.time())
    assert status(context, job).state == "done"
    assert upkeep.sweep(context, send, lambda done: ended.append(done.ref)) == 0


def test_the_sweep_closes_a_job_whose_last_worker_died_just_before(context: Context) -> None:
    job = accepted(context, ("a.xml", score("F")))
    kept = parts._work(context, parts.Batch(job, job.parts, time.time()), job.parts[0], 1)
    context.store.put_pack(job, [kept])
    ended: list[str] = []
    upkeep.sweep(context, lambda *_: None, lambda done: ended.append(done.ref))
    assert ended == [job.ref]
    context.store.settle(job.ref)
    assert context.store.ended(job) is not None
    assert context.store.active() == []


def test_a_folder_without_a_job_is_swept_up_only_when_old(context: Context) -> None:
    for age, left in ((60, True), (2 * upkeep.ABANDONED_SECONDS, False)):
        job = accepted(context, ("a.xml", score("F")), age=age)
        context.store.files.remove(f"jobs/{job.ref}/job.json")
        upkeep.expire(context)
        assert context.store.files.exists(f"jobs/{job.ref}") is left


def test_a_job_reads_as_it_was_written(context: Context) -> None:
    job = accepted(context, ("Tromba ♭.xml", score("F")), ("letter.pdf", b"x"))
    assert context.store.job(job.ref) == job
    assert json.loads(job_to_json(job))["parts"][1]["refused"]["code"] == "not-a-score"
    assert context.store.job("local/../../etc") is None
    assert context.store.job("../local/" + job.id) is None


def test_readiness_tells_what_is_missing(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    found = checks(context)
    assert {name: check["ok"] for name, check in found.items()} == {
        "redis": True,
        "workers": False,
        "store": True,
    }
    context.hands.say("one", "one@here")

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(context.store.files, "write", full)
    found = checks(context)
    assert found["workers"] == {"ok": True, "count": 1}
    assert found["store"]["ok"] is False
    assert "OSError" in found["store"]["detail"]


def test_readiness_is_told_in_time_whatever_hangs(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    released, begun = threading.Event(), []

    def hangs(*_: Any) -> None:
        begun.append(1)
        released.wait(60)

    context.hands.say("one", "one@here")
    monkeypatch.setattr(context.store.files, "check", hangs)
    threads = threading.active_count()
    for _ in range(2):
        found = checks(context)
        assert found["redis"]["ok"]
        assert found["workers"]["ok"]
        assert not found["store"]["ok"]
        assert "no answer for" in found["store"]["detail"]
    # However often it is asked, a check that hangs is not begun again.
    assert len(begun) == 1
    assert threading.active_count() <= threads + 3
    monkeypatch.undo()
    released.set()
    wait_until(lambda: checks(context)["store"]["ok"], 10)


def test_readiness_is_told_when_redis_takes_the_call_and_says_nothing(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        url = f"redis://127.0.0.1:{silent.getsockname()[1]}/0"
        found = checks(Context(Settings(redis_url=url, store=str(tmp_path / "store"))))
    assert {name: check["ok"] for name, check in found.items()} == {
        "redis": False,
        "workers": False,
        "store": True,
    }
    assert "no answer for" in found["redis"]["detail"]


def test_owners_have_lanes_of_their_own() -> None:
    names = ("brass", "library", "pit")
    settings = Settings(keys=tuple(Key(name, "0" * 64) for name in names), lanes=3)

    def queue(owner: str, bulk: bool) -> str:
        return queues.queue_of(Job(owner, new_id(), 0.0, {}, (), bulk=bulk), settings)

    assert len({queue(owner, bulk) for owner in names for bulk in (False, True)}) == 6
    assert {queue("pit", True) for _ in range(20)} == {queue("pit", True)}
    assert {queue(owner, bulk) for owner in names for bulk in (False, True)} < set(queues.names(settings))
    # Without keys there is one owner, and its jobs share the lanes.
    jobs = [Job("local", new_id(), 0.0, {}, (), bulk=True) for _ in range(60)]
    assert len({queues.queue_of(job, Settings(lanes=3)) for job in jobs}) == 3


@pytest.mark.parametrize("broken_at", [1, 2, 3])
def test_a_job_is_accepted_by_the_last_write_and_not_before(
    context: Context, monkeypatch: pytest.MonkeyPatch, broken_at: int
) -> None:
    real, writes = context.store.files.write, []

    def breaks_off(name: str, *pieces: bytes) -> None:
        writes.append(name)
        if len(writes) == broken_at:
            raise OSError("the power went")
        real(name, *pieces)

    with monkeypatch.context() as patch:
        patch.setattr(context.store.files, "write", breaks_off)
        with pytest.raises(OSError, match="the power went"):
            accepted(context, ("a.xml", score("F")))
    assert [context.store.job(ref) for ref in context.store.active()] in ([], [None])
    assert [context.store.job(f"local/{name}") for name in context.store.ids("local")] in ([], [None])
    whole = accepted(context, ("a.xml", score("F")))
    assert context.store.job(whole.ref) == whole
