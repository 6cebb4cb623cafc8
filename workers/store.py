"""Where jobs are kept. The store is the truth: whatever else is lost, the jobs are here.

jobs/OWNER/ID/job.json              the job as accepted; a folder without it is no job (yet, or any more)
jobs/OWNER/ID/input/0001.musicxml   the files as they came
jobs/OWNER/ID/input/files           those of a large job, end to end: making a file costs more than filling it
jobs/OWNER/ID/output/0001/…         annotated.musicxml, report.json, what else was asked for, outcome.json
jobs/OWNER/ID/output/ended.json     all outcomes together, once every part has one
active/OWNER~ID                     there while the job has parts without an outcome
results/…                           results by content, to compute the same thing once
requests/OWNER/…                    the Idempotency-Keys used
"""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Iterable
from typing import IO

from workers.files import Files
from workers.jobs import (
    Job,
    Outcome,
    Part,
    outcome_from_json,
    outcome_of,
    outcome_to_json,
    outcome_values,
    valid_id,
)
from workers.keys import valid_owner

ENDED = "output/ended.json"
TOGETHER = "input/files"
JOBS_REMEMBERED = 16


class Store:
    """The jobs in a folder or object store (a path or an fsspec URL)."""

    def __init__(self, url: str) -> None:
        self.files = Files(url)
        self._read: OrderedDict[str, Job] = OrderedDict()

    @staticmethod
    def _name(ref: str, name: str) -> str:
        return f"jobs/{ref}/{name}"

    @staticmethod
    def _marker(ref: str) -> str:
        return "active/" + ref.replace("/", "~")

    def accept(self, job: Job, contents: Iterable[tuple[Part, bytes]]) -> None:
        """Keep a new job and its files. From the last write on it is accepted and will not be lost."""
        if job.bulk:
            self.files.write(self._name(job.ref, TOGETHER), *(data for _, data in contents))
        else:
            for part, data in contents:
                self.files.write(self._name(job.ref, part.input), data)
        self.files.write(self._marker(job.ref), b"")
        self.files.write(self._name(job.ref, "job.json"), job.to_json())

    def job(self, ref: str) -> Job | None:
        """The job ``owner/id``, or None when there is none (any more)."""
        owner, _, job_id = ref.partition("/")
        if not (valid_owner(owner) and valid_id(job_id)):
            return None
        known = self._read.get(ref)
        if known is not None:  # a job is written once; only whether it is still there can change
            if self.has(ref):
                return known
            self._read.pop(ref, None)
            return None
        try:
            job = Job.from_json(self.files.read(self._name(ref, "job.json")))
        except FileNotFoundError:
            return None
        self._read[ref] = job
        while len(self._read) > JOBS_REMEMBERED:
            self._read.popitem(last=False)
        return job

    def has(self, ref: str) -> bool:
        """Whether the job is there (it may have been cancelled)."""
        return self.files.exists(self._name(ref, "job.json"))

    def ids(self, owner: str) -> list[str]:
        """The ids of an owner's jobs, newest first; some may turn out to be no jobs (any more)."""
        return [name for name in reversed(self.files.names(f"jobs/{owner}")) if valid_id(name)]

    def refs(self) -> list[str]:
        """Every job folder, ``owner/id``."""
        return [f"{owner}/{job_id}" for owner in self.files.names("jobs") for job_id in self.ids(owner)]

    def active(self) -> list[str]:
        """The jobs that had parts without an outcome when last looked at."""
        return [name.replace("~", "/") for name in self.files.names("active")]

    def input(self, job: Job, part: Part) -> bytes:
        """A part's file as it came."""
        if not part.size:
            return b""
        if job.bulk:
            start = sum(before.size for before in job.parts[: part.n - 1])
            return self.files.read_piece(self._name(job.ref, TOGETHER), start, part.size)
        return self.files.read(self._name(job.ref, part.input))

    def put(self, ref: str, name: str, data: bytes) -> None:
        """Keep a result under its name in the job's folder."""
        self.files.write(self._name(ref, name), data)

    def path(self, ref: str, name: str) -> str:
        """What a result is called among the store's files."""
        return self._name(ref, name)

    def get(self, ref: str, name: str) -> bytes | None:
        """A result, or None when there is none."""
        try:
            return self.files.read(self._name(ref, name))
        except FileNotFoundError:
            return None

    def open(self, ref: str, name: str) -> tuple[IO[bytes], int]:
        """A result to read and seek in, and its size. Raises FileNotFoundError."""
        name = self._name(ref, name)
        return self.files.open(name), self.files.size(name)

    def exists(self, ref: str, name: str) -> bool:
        """Whether a result is there."""
        return self.files.exists(self._name(ref, name))

    def put_outcome(self, job: Job, outcome: Outcome) -> None:
        """Keep what became of a part; written after the part's results, so it vouches for them."""
        name = f"{job.parts[outcome.n - 1].output}/outcome.json"
        self.files.write(self._name(job.ref, name), outcome_to_json(outcome))

    def outcome(self, job: Job, part: Part) -> Outcome | None:
        """What became of a part, or None while it has not ended."""
        data = self.get(job.ref, f"{part.output}/outcome.json")
        return outcome_from_json(data) if data is not None else None

    def outcomes(self, job: Job) -> dict[int, Outcome]:
        """What became of the parts that have ended, by number."""
        ended = self.ended(job)
        if ended is not None:
            return {outcome.n: outcome for outcome in ended}
        names = [self._name(job.ref, f"{part.output}/outcome.json") for part in job.parts]
        found = (outcome_from_json(data) for data in self.files.read_many(names).values())
        return {outcome.n: outcome for outcome in found}

    def end(self, job: Job, outcomes: Iterable[Outcome]) -> None:
        """Keep all outcomes together and take the job off the active ones. May be done twice."""
        listed = [outcome_values(outcome) for outcome in sorted(outcomes, key=lambda outcome: outcome.n)]
        data = json.dumps(listed, ensure_ascii=False, separators=(",", ":")).encode()
        self.files.write(self._name(job.ref, ENDED), data)
        self.files.remove(self._marker(job.ref))

    def ended(self, job: Job) -> list[Outcome] | None:
        """All outcomes of a job that has ended, else None."""
        data = self.get(job.ref, ENDED)
        if data is None:
            return None
        return [outcome_of(values) for values in json.loads(data)]

    def remove(self, ref: str) -> None:
        """Remove a job. ``job.json`` goes first, so that a worker sees at once that there is no job."""
        self.files.remove(self._name(ref, "job.json"))
        self.files.remove(self._marker(ref))
        self.files.remove(f"jobs/{ref}")
