"""Where jobs are kept. The store is the truth: whatever else is lost, the jobs are here.

jobs/OWNER/ID/job.json              the job as accepted; a folder without it is no job (yet, or any more)
jobs/OWNER/ID/input/files           the files as they came, end to end: a file costs more than what is in it
jobs/OWNER/ID/output/packs/…        the results of some parts and what became of them (``packs.py``)
jobs/OWNER/ID/output/0001/…         what else was asked for of a part; of the job as a whole, output/job/…
jobs/OWNER/ID/output/ended.json     all outcomes together, once every part has one
jobs/OWNER/ID/output/told.json      there when the job's end has been told to who asked for it
active/OWNER~ID                     there while something is still to be done for the job
requests/OWNER/…                    the Idempotency-Keys used

Earlier versions kept each result in a file, output/0001/annotated.musicxml, report.json and outcome.json, and
the files of small jobs as input/0001.musicxml; that is still read.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from typing import IO, TypeVar

from workers import packs
from workers.files import Files
from workers.jobs import Job, Outcome, Part, id_time, valid_id
from workers.keys import valid_owner
from workers.packs import Kept
from workers.stored import (
    Unreadable,
    job_from_json,
    job_to_json,
    outcome_from_json,
    outcomes_from_json,
    outcomes_to_json,
)

ENDED = "output/ended.json"
TOGETHER = "input/files"
REMEMBERED = 16
T = TypeVar("T")


class Store:
    """The jobs in a folder or object store (a path or an fsspec URL)."""

    def __init__(self, url: str) -> None:
        self.files = Files(url)
        self._read: OrderedDict[str, Job] = OrderedDict()
        self._over: OrderedDict[str, list[Outcome]] = OrderedDict()

    @staticmethod
    def _name(ref: str, name: str) -> str:
        return f"jobs/{ref}/{name}"

    @staticmethod
    def _marker(ref: str) -> str:
        return "active/" + ref.replace("/", "~")

    def accept(self, job: Job, contents: Iterable[tuple[Part, bytes]]) -> None:
        """Keep a new job and its files. From the last write on it is accepted and will not be lost."""
        self.files.write(self._name(job.ref, TOGETHER), *(data for _, data in contents))
        self.files.write(self._marker(job.ref), b"")
        self.files.write(self._name(job.ref, "job.json"), job_to_json(job))

    def job(self, ref: str) -> Job | None:
        """The job ``owner/id``, or None when there is none (any more). One that cannot be read says so in
        ``unreadable``."""
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
            job = job_from_json(self.files.read(self._name(ref, "job.json")), ref)
        except FileNotFoundError:
            return None
        except Unreadable as error:
            return Job(owner, job_id, id_time(job_id), {}, (), unreadable=error.message)
        _remember(self._read, ref, job)
        return job

    def remembered(self, ref: str) -> Job | None:
        """The job if it was read before, without a look whether it is still there."""
        return self._read.get(ref)

    def has(self, ref: str) -> bool:
        """Whether the job is there (it may have been cancelled)."""
        return self.files.exists(self._name(ref, "job.json"))

    def ids(self, owner: str) -> list[str]:
        """The ids of an owner's jobs, newest first; some may turn out to be no jobs (any more)."""
        return [name for name in reversed(self.files.names(f"jobs/{owner}")) if valid_id(name)]

    def owners(self) -> list[str]:
        """Who has jobs here."""
        return [name for name in self.files.names("jobs") if valid_owner(name)]

    def active(self) -> list[str]:
        """The jobs for which something was still to be done when last looked at."""
        return [name.replace("~", "/") for name in self.files.names("active")]

    def inputs(self, job: Job, parts: Sequence[Part]) -> dict[int, bytes]:
        """Files as they came, by the part's number. Raises FileNotFoundError when they are gone."""
        wanted = [part for part in parts if part.size]
        found = {part.n: b"" for part in parts}
        if not job.together:
            return found | {part.n: self.files.read(self._name(job.ref, part.input)) for part in wanted}
        starts = _starts(job.parts)
        runs: list[list[Part]] = []
        for part in wanted:  # what lies together is read together
            if runs and starts[part.n] == starts[runs[-1][-1].n] + runs[-1][-1].size:
                runs[-1].append(part)
            else:
                runs.append([part])
        for run in runs:
            first, size = starts[run[0].n], sum(part.size for part in run)
            data = self.files.read_piece(self._name(job.ref, TOGETHER), first, size)
            if len(data) != size:
                raise FileNotFoundError(f"{job.ref}: {TOGETHER} is shorter than it was")
            for part in run:
                found[part.n] = data[starts[part.n] - first : starts[part.n] - first + part.size]
        return found

    def input(self, job: Job, part: Part) -> bytes:
        """A part's file as it came."""
        return self.inputs(job, [part])[part.n]

    def put(self, ref: str, name: str, data: bytes) -> None:
        """Keep something under its name in the job's folder."""
        self.files.write(self._name(ref, name), data)

    def get(self, ref: str, name: str) -> bytes | None:
        """What is kept under a name, or None when there is nothing."""
        try:
            return self.files.read(self._name(ref, name))
        except FileNotFoundError:
            return None

    def open(self, ref: str, name: str) -> tuple[IO[bytes], int]:
        """The same, to read and seek in, and its size. Raises FileNotFoundError."""
        name = self._name(ref, name)
        return self.files.open(name), self.files.size(name)

    def exists(self, ref: str, name: str) -> bool:
        """Whether something is kept under a name."""
        return self.files.exists(self._name(ref, name))

    def put_pack(self, job: Job, kept: Sequence[Kept]) -> list[Outcome]:
        """Keep what became of some parts, and their results, in one write; gives the outcomes with their
        places."""
        name, pieces, outcomes = packs.packed(kept)
        self.files.write(self._name(job.ref, f"{packs.FOLDER}/{name}"), *pieces)
        return outcomes

    def lying(self, wanted: Sequence[tuple[str, Outcome, str]]) -> list[bytes | None]:
        """Results (of a job ``owner/id``, of a part's outcome, by name) as they lie in their packs; what is
        gone as None. An object store is asked for many at once."""
        places = []
        for ref, outcome, name in wanted:
            piece = outcome.pieces[name]
            head = packs.head_size(outcome.pack) or 0
            pack = self._name(ref, f"{packs.FOLDER}/{outcome.pack}")
            places.append((pack, head + piece.at, piece.stored))
        return self.files.read_pieces(places)

    def result(self, job: Job, part: Part, outcome: Outcome, name: str) -> bytes | None:
        """A result of a part, ``annotated`` or ``report``; None when there is none (any more)."""
        if not outcome.pack:  # as earlier versions kept it
            file = f"annotated.{part.kind}" if name == "annotated" else f"{name}.json"
            return self.get(job.ref, f"{part.output}/{file}")
        if name not in outcome.pieces:
            return None
        lies = self.lying([(job.ref, outcome, name)])[0]
        return None if lies is None else packs.plain(lies, outcome.pieces[name])

    def outcome(self, job: Job, part: Part) -> Outcome | None:
        """What became of a part, or None while it has not ended."""
        return self.outcomes(job).get(part.n)

    def outcomes(self, job: Job) -> dict[int, Outcome]:
        """What became of the parts that have ended, by number."""
        ended = self.ended(job)
        if ended is not None:
            return {outcome.n: outcome for outcome in ended}
        names = self.files.names(self._name(job.ref, packs.FOLDER))
        sizes = [(name, size) for name in names if (size := packs.head_size(name)) is not None]
        folder = self._name(job.ref, packs.FOLDER)
        heads = self.files.read_pieces([(f"{folder}/{name}", 0, size) for name, size in sizes])
        found = packs.outcomes((name, head) for (name, _), head in zip(sizes, heads, strict=True) if head)
        missing = [part for part in job.parts if part.n not in found]
        if missing and not job.packed:
            found |= self._outcomes_in_files(job, missing)
        return {n: outcome for n, outcome in found.items() if job.part(n)}

    def _outcomes_in_files(self, job: Job, parts: Sequence[Part]) -> dict[int, Outcome]:
        """As earlier versions kept them."""
        names = {self._name(job.ref, f"{part.output}/outcome.json"): part.n for part in parts}
        found = {}
        for name, data in self.files.read_many(names).items():
            with suppress(Unreadable):
                found[names[name]] = outcome_from_json(data)
        return found

    def end(self, job: Job, outcomes: Mapping[int, Outcome]) -> bool:
        """Keep all outcomes together. Of several who do it at once one is told that it was the one."""
        data = outcomes_to_json(outcomes[n] for n in sorted(outcomes))
        if self.files.create(self._name(job.ref, ENDED), data):
            return True
        if self.ended(job) is None:  # there is one that cannot be read
            self.files.write(self._name(job.ref, ENDED), data)
        return False

    def settle(self, ref: str) -> None:
        """Take a job off the active ones: all that follows from its end is under way."""
        self.files.remove(self._marker(ref))

    def ended(self, job: Job) -> list[Outcome] | None:
        """All outcomes of a job that has ended, else None."""
        known = self._over.get(job.ref)
        if known is not None:
            return known
        data = self.get(job.ref, ENDED)
        if data is None:
            return None
        try:
            found = outcomes_from_json(data)
        except Unreadable:
            return None
        if {outcome.n for outcome in found} != {part.n for part in job.parts}:
            return None
        _remember(self._over, job.ref, found)
        return found

    def remove(self, *refs: str) -> None:
        """Remove jobs. ``job.json`` goes first, so that a worker sees at once that there is no job."""
        for ref in refs:
            self._read.pop(ref, None)
            self._over.pop(ref, None)
        self.files.remove_all(
            name for ref in refs for name in (self._name(ref, "job.json"), self._marker(ref))
        )
        self.files.remove_all(folders=(f"jobs/{ref}" for ref in refs))


def _starts(parts: Sequence[Part]) -> dict[int, int]:
    """Where each file begins among those that lie end to end."""
    at, starts = 0, {}
    for part in parts:
        starts[part.n] = at
        at += part.size
    return starts


def _remember(among: OrderedDict[str, T], ref: str, value: T) -> None:
    among[ref] = value
    while len(among) > REMEMBERED:
        among.popitem(last=False)
