"""What a part costs the store: requests and bytes, counted at a simulated object store; archives and the
removal of old jobs by a few requests."""

from __future__ import annotations

import io
import time
import zipfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fsspec.implementations.memory import MemoryFileSystem

import annotator
from tests.service.kept import accepted
from tests.service.scores import BAD_SCORE, mxl, score
from workers import archive, batches, parts, upkeep
from workers.context import Context
from workers.files import Files
from workers.intake import take_in
from workers.jobs import Job, id_time, new_id
from workers.settings import Settings
from workers.status import status


class Counting(Files):
    """A store in memory, reached as an object store is; every request and the bytes written are counted."""

    def __init__(self) -> None:
        super().__init__("memory://")
        self.asked: Counter[str] = Counter()
        self.written = 0

    def _remote(self, call: str, *arguments: Any, **options: Any) -> Any:
        options.pop("batch_size", None)
        if call == "cat_ranges":
            self.asked[call] += len(arguments[0])
        elif call == "rm" and isinstance(arguments[0], list):
            self.asked[call] += 1
            with_all = [path for path in arguments[0] if self._fs.exists(path)]
            return super()._remote(call, with_all)
        else:
            self.asked[call] += 1
        if call == "pipe_file":
            self.written += len(arguments[1])
        return super()._remote(call, *arguments, **options)


@pytest.fixture
def counting(context: Context) -> Iterator[tuple[Context, Counting]]:
    """A context whose store counts."""
    MemoryFileSystem.store.clear()
    files = Counting()
    context.store.files = files
    yield context, files
    MemoryFileSystem.store.clear()


def bulk_job(context: Context, count: int) -> Job:
    """A large job of real size: about 80 KB a part."""
    files = [(f"act {n}/tromba.xml", score("F", 150, f"Act {n}")) for n in range(count)]
    intake = take_in(files, context.settings)
    listed = tuple(part for part, _ in intake.parts)
    job_id = new_id(time.time() - 60)
    job = Job("local", job_id, id_time(job_id), {}, listed, bulk=True)
    context.store.accept(job, intake.parts)
    context.live.queued(job)
    return job


def work_off(context: Context, job: Job) -> None:
    """Do all parts of a job, message by message."""
    for numbers in batches.split(job):
        parts.run(context, job.ref, numbers, time.time())
    assert context.store.ended(job)
    context.store.settle(job.ref)


def test_a_part_costs_few_requests_and_little_more_than_its_own_bytes(
    counting: tuple[Context, Counting],
) -> None:
    context, files = counting
    for count, most in ((64, 1.0), (8, 4.0)):
        files.asked.clear()
        files.written = 0
        job = bulk_job(context, count)
        work_off(context, job)
        size = sum(part.size for part in job.parts)
        assert files.asked.total() / count <= most, files.asked
        assert files.written / size <= 2.5
    # The same files again: only their places are remembered, and there is no look for what is not there.
    again = bulk_job(context, 8)
    work_off(context, again)
    assert all(outcome.cached for outcome in context.store.outcomes(again).values())


def test_an_archive_is_read_in_any_range_with_few_requests(counting: tuple[Context, Counting]) -> None:
    context, files = counting
    job = bulk_job(context, 40)
    work_off(context, job)
    files.asked.clear()
    made = archive.Archive(context.store, job, status(context, job))
    assert files.asked.total() == 0  # the first byte waits for no request
    first = made.read(100)
    assert files.asked.total() == 0
    whole = first + made.read()
    assert len(whole) == made.size
    with zipfile.ZipFile(io.BytesIO(whole)) as opened:
        assert opened.testzip() is None
        for part in job.parts:
            data = opened.read(part.name)
            assert annotator.strip(data) == context.store.input(job, part)
    for start, size in ((0, 10), (made.size // 2, 5000), (made.size - 30, 100)):
        made.seek(start)
        assert made.read(size) == whole[start : start + size]
    again = archive.Archive(context.store, job, status(context, job))
    assert (again.digest, again.read()) == (made.digest, whole)


def test_an_archive_holds_what_is_compressed_and_what_failed(context: Context) -> None:
    job = accepted(context, ("a.mxl", mxl(score("F"))), ("bad.xml", BAD_SCORE), ("b.xml", score("E")))
    parts.run(context, job.ref, [1, 2, 3], time.time())
    with zipfile.ZipFile(archive.Archive(context.store, job, status(context, job))) as opened:
        assert opened.testzip() is None
        names = {"a.mxl", "a.mxl.report.json", "b.xml", "b.xml.report.json", "bad.xml.failed.txt"}
        assert set(opened.namelist()) == names | {"summary.json", "summary.html"}
        assert annotator.strip(opened.read("a.mxl")) == mxl(score("F"))


def test_many_old_jobs_are_removed_with_few_requests(
    counting: tuple[Context, Counting], monkeypatch: pytest.MonkeyPatch
) -> None:
    context, files = counting
    context.settings = Settings(**{**vars_of(context.settings), "keep_days": 1.0})
    old: list[Job] = []
    young: list[Job] = []
    for n in range(60):
        age = 2 * 86_400 if n < 50 else 60
        (old if n < 50 else young).append(accepted(context, (f"{n}.xml", score("F", title=str(n))), age=age))
    for job in old[:25]:
        parts.run(context, job.ref, [1], time.time())
    files.asked.clear()
    assert upkeep.expire(context) == 50
    # A listing for each job, and bulk removals; before, three requests for each object.
    assert files.asked.total() < 1.5 * 50, files.asked
    assert set(context.store.ids("local")) == {job.id for job in young}
    # One that breaks off goes on where it was.
    monkeypatch.setattr(upkeep, "EXPIRE_SECONDS", -1.0)
    context.settings = Settings(**{**vars_of(context.settings), "keep_days": 0.0})
    assert upkeep.expire(context) == 0
    monkeypatch.setattr(upkeep, "EXPIRE_SECONDS", 40.0)
    assert upkeep.expire(context) == 10


def vars_of(settings: Settings) -> dict[str, Any]:
    """The fields of settings, to make others of them."""
    return {name: getattr(settings, name) for name in ("redis_url", "store", "sweep_seconds")}


def test_only_one_removes_at_a_time(context: Context) -> None:
    with upkeep.alone(context, "expire") as first, upkeep.alone(context, "expire") as second:
        assert (first, second) == (True, False)
    with upkeep.alone(context, "expire") as third:
        assert third
    assert Path(context.store.files.root).exists()
