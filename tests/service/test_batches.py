"""Several parts in one message: each still has its own outcome, and none is lost with the others."""

from __future__ import annotations

import json
import os
import signal
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import annotator
from tests.loops import run
from tests.service.conftest import ended, post, started, wait_until
from tests.service.kept import accepted, clock, files_of
from tests.service.scores import BAD_SCORE, score
from tests.service.test_recovery import QUICK, command_line, descendants, parent
from workers import batches, metrics, parts, queues, removal, upkeep
from workers.context import INSTANCE, Context
from workers.hands import WORKER
from workers.intake import take_in
from workers.jobs import Job, Part, new_id
from workers.live import listening, next_events
from workers.status import status
from workers.stored import job_from_json


class Killed(BaseException):
    """A worker's process is gone: nothing after this line of it runs."""


def job_of(sizes: list[int], *, bulk: bool) -> Job:
    """A job of parts with those sizes."""
    listed = tuple(Part(n, f"{n}.xml", size, "", "musicxml") for n, size in enumerate(sizes, 1))
    return Job("local", new_id(), 0.0, {}, listed, bulk=bulk)


def four(context: Context, *, bad: int = 0) -> Job:
    """A job of four parts, one of them bad."""
    names = range(1, 5)
    return accepted(
        context, *((f"{n}.xml", BAD_SCORE if n == bad else score("F", title=f"{n}")) for n in names)
    )


def told(context: Context, job: Job) -> list[tuple[int, str]]:
    """The events of the parts: number and state."""

    async def events() -> list[tuple[str, str, str]]:
        async with listening(context.settings.redis_url) as connection:
            return await next_events(connection, job.ref, "0", 10)

    notes = [json.loads(data) for _, kind, data in run(events()) if kind == "part"]
    return [(note["n"], note["state"]) for note in notes]


@given(st.lists(st.integers(0, 2_000_000), min_size=1, max_size=300))
def test_every_part_is_in_one_batch_and_no_batch_is_long(sizes: list[int]) -> None:
    job = job_of(sizes, bulk=True)
    sent = batches.split(job)
    assert [n for batch in sent for n in batch] == [part.n for part in job.parts]
    for batch in sent:
        assert len(batch) == 1 or sum(sizes[n - 1] for n in batch) <= batches.BATCH_BYTES
        assert 1 <= len(batch) <= batches.BATCH_PARTS
    for one, other in pairwise(sent):  # no two that would have gone together
        both = sum(sizes[n - 1] for n in one) + sizes[other[0] - 1]
        most = min(batches.BATCH_BYTES, sum(sizes) // batches.LEAST_BATCHES)
        assert both > most or len(one) == batches.BATCH_PARTS


def test_the_parts_of_a_small_job_go_one_by_one() -> None:
    assert batches.split(job_of([10, 10, 10], bulk=False)) == [[1], [2], [3]]
    assert batches.split(job_of([10] * 320, bulk=True), [7, 9])[0][0] == 7


def test_a_bad_file_in_a_batch_costs_only_itself(context: Context) -> None:
    job = four(context, bad=2)
    assert parts.run(context, job.ref, [1, 2, 3, 4], time.time()) == job
    stands = status(context, job)
    assert stands.state == "partly"
    assert [stands.outcomes[n].state for n in (1, 2, 3, 4)] == ["done", "failed", "done", "done"]
    heard = told(context, job)
    for n in (1, 2, 3, 4):
        assert [state for m, state in heard if m == n] == ["running", "failed" if n == 2 else "done"]
    counted = metrics.read(context.connection)
    assert counted["parts done computed"] == 3
    assert counted["parts failed unreadable-score"] == 1


def test_a_job_cancelled_in_mid_batch_stops_there_and_leaves_nothing(
    context: Context, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = four(context)
    real = annotator.annotate
    marked: list[str] = []

    def cancelled_at_the_second(data: bytes, options: Any, name: str) -> Any:
        marked.append(name)
        if name == "2.xml":
            removal.remove(context, job.ref)
        return real(data, options, name)

    monkeypatch.setattr(annotator, "annotate", cancelled_at_the_second)
    assert parts.run(context, job.ref, [1, 2, 3, 4], time.time()) is None
    assert marked == ["1.xml", "2.xml"]
    assert not [name for name in files_of(context) if name.startswith(("jobs/", "active/"))]
    assert context.connection.keys(f"crookline:job:{job.ref}:*") == [f"crookline:job:{job.ref}:gone"]


def test_what_a_lost_worker_held_is_sent_again_and_nothing_else(
    context: Context, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = four(context)
    context.live.queued(job)
    real = annotator.annotate

    def killed_at_the_second(data: bytes, options: Any, name: str) -> Any:
        if name == "2.xml":
            raise Killed
        return real(data, options, name)

    with monkeypatch.context() as patch:
        patch.setattr(annotator, "annotate", killed_at_the_second)
        with pytest.raises(Killed):
            parts.run(context, job.ref, [1, 2, 3, 4], time.time())
    assert set(status(context, job).running) == {1, 2}  # what is not in the store has not ended
    sent: list[list[int]] = []

    def send(lost: Job, numbers: list[int]) -> None:
        sent.append(sorted(numbers))
        context.live.queued(lost, numbers)

    with monkeypatch.context() as patch:
        clock(patch, 100)
        for _ in range(2):
            upkeep.sweep(context, send, lambda _: None)
    assert sent == [[1, 2, 3, 4]]
    assert parts.run(context, job.ref, sent[0], time.time()) == job
    assert status(context, job).state == "done"
    assert [context.live.begin(job, part).count for part in job.parts] == [1, 1, 1, 1]


def test_what_a_living_worker_holds_is_left_to_it(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    job = four(context)
    context.live.queued(job)
    context.hands.say(INSTANCE, "one@here", held=[(job.ref, [1, 2])])
    sent: list[list[int]] = []
    clock(monkeypatch, 100)
    upkeep.sweep(context, lambda _, numbers: sent.append(sorted(numbers)), lambda _: None)
    context.connection.delete(f"{WORKER}{INSTANCE}")  # its lease has run out
    upkeep.sweep(context, lambda _, numbers: sent.append(sorted(numbers)), lambda _: None)
    assert sent == [[3, 4], [1, 2, 3, 4]]


def test_what_waits_in_its_queue_is_not_sent_again(context: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    job = four(context)
    queue = queues.queue_of(job, context.settings)

    now = time.time()

    def waits_since(seconds: float) -> None:
        context.connection.delete(queue)
        context.connection.lpush(queue, json.dumps({"headers": {"sent": now - seconds}}))

    context.live.queued(job)
    sent: list[list[int]] = []
    clock(monkeypatch, 100)
    waits_since(10)  # one sent before it is still to be taken
    upkeep.sweep(context, lambda _, numbers: sent.append(numbers), lambda _: None)
    assert sent == []
    waits_since(-90)  # all that is there came after it
    upkeep.sweep(context, lambda _, numbers: sent.append(numbers), lambda _: None)
    assert sent == [[1, 2, 3, 4]]


def test_a_batch_whose_time_is_over_gives_the_rest_back(
    context: Context, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(batches, "BATCH_SECONDS", 0.0)
    job = four(context)
    waiting: list[list[int]] = [[1, 2, 3, 4]]
    turns = 0
    closed = None
    while waiting:
        turns += 1
        closed = parts.run(context, job.ref, waiting.pop(), time.time(), lambda _, rest: waiting.append(rest))
    assert turns == 4  # at least one part each time
    assert closed == job


def test_a_store_that_fails_in_mid_batch_loses_and_counts_nothing_twice(
    context: Context, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = four(context)
    real = context.store.put_pack
    monkeypatch.setattr(parts, "PACK_BYTES", 1)  # a pack for each part

    def full_at_the_third(job: Job, kept: Any) -> Any:
        if kept[0].outcome.n == 3:
            raise OSError(28, "No space left on device")
        return real(job, kept)

    with monkeypatch.context() as patch:
        patch.setattr(context.store, "put_pack", full_at_the_third)
        with pytest.raises(OSError, match="No space"):
            parts.run(context, job.ref, [1, 2, 3, 4], time.time())
    assert set(context.store.outcomes(job)) == {1, 2}
    assert context.live.begin(job, job.parts[3]).count == 1  # an outage is no beginning
    context.live.not_begun(job, "4")
    assert parts.run(context, job.ref, [1, 2, 3, 4], time.time()) == job
    assert status(context, job).state == "done"
    assert metrics.read(context.connection)["parts done computed"] == 4


def test_a_process_killed_in_mid_batch_costs_no_part(tmp_path: Path) -> None:
    files = [(f"{n}.xml", score("F", 60, f"Batch {n}")) for n in range(96)]
    with started(tmp_path, "--workers", "1", environment=QUICK) as service, service.client() as client:
        answer = post(client, *files)
        job_id = answer.json()["id"]
        kept = (service.store / "jobs" / "local" / job_id / "job.json").read_bytes()
        job = job_from_json(kept, f"local/{job_id}")
        assert min(map(len, batches.split(job)[:-1])) > 1
        wait_until(lambda: client.get(f"/v1/jobs/{job_id}").json()["counts"]["done"] > 2)
        (worker,) = [
            pid
            for pid in descendants(service.process.pid)
            if "celery" in command_line(pid) and "celery" not in command_line(parent(pid))
        ]
        for child in descendants(worker):  # the pool's process; the scheduler is no child to be missed
            os.kill(child, signal.SIGKILL)
        done: dict[str, Any] = ended(client, job_id, 90)
        assert done["counts"] == {"queued": 0, "running": 0, "done": 96, "failed": 0}


def test_the_files_of_a_large_job_lie_together_and_each_is_found(context: Context) -> None:
    files = [(f"{n}.xml", score("F", n, f"Place {n}")) for n in range(1, 9)]
    files.insert(3, ("letter.pdf", b"not a score"))
    intake = take_in(files, context.settings)
    listed = tuple(part for part, _ in intake.parts)
    job = Job("local", new_id(), 0.0, {}, listed, bulk=True)
    context.store.accept(job, intake.parts)
    assert [context.store.input(job, part) for part in listed] == [
        b"" if part.refused else data for part, (_, data) in zip(listed, files, strict=True)
    ]
    assert parts.run(context, job.ref, [part.n for part in listed], time.time()) == job
    for part, (name, data) in zip(listed, files, strict=True):
        if part.refused is None:
            outcome = context.store.outcomes(job)[part.n]
            marked = context.store.result(job, part, outcome, "annotated")
            assert marked == annotator.annotate(data, annotator.Options(), name).data
