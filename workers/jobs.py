"""What a job is: the values kept in the store, and how they read as JSON.

A job is written once, when it is accepted. What became of each part is a value of its own, written
by the worker that did it; so no two processes ever write the same file with different contents.
"""

from __future__ import annotations

import json
import secrets
import time
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from annotator.importing.opening import TAKEN, is_imported

ENDED = ("done", "partly", "failed")
SUFFIXES = {suffix: "mxl" if suffix == ".mxl" else "musicxml" for suffix in TAKEN}
"""The endings of the files that are taken, and in which kind of file their marks come back."""


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a part failed: ``code`` for programs, ``message`` for people, and where in the file."""

    code: str
    message: str
    part: str | None = None
    measure: str | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """One file of a job. ``n`` counts from 1; ``name`` is the path it came with; ``refused`` says why it
    cannot be worked on at all. With several players: ``player`` whose copy it is (``name`` begins with it),
    ``options`` what is asked for this one besides the job's."""

    n: int
    name: str
    size: int
    sha256: str
    kind: str
    refused: Reason | None = None
    player: str = ""
    options: Mapping[str, Any] = field(default_factory=dict)

    @property
    def written_name(self) -> str:
        """The name of the file with the marks: a score in another format comes back as MusicXML."""
        return f"{self.name}.musicxml" if is_imported(self.name) else self.name

    @property
    def score(self) -> str:
        """What the part's file is called inside the job's folder when it had to be brought to MusicXML."""
        return f"{self.output}/score.musicxml"

    @property
    def input(self) -> str:
        """The file's name inside the job's folder; the sender's name never becomes a path."""
        return f"input/{self.n:04d}.{self.kind}"

    @property
    def output(self) -> str:
        """The folder of the part's results inside the job's folder."""
        return f"output/{self.n:04d}"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a part. ``state`` is ``done`` or ``failed``; times in seconds since 1970,
    ``waited`` and ``took`` in seconds; ``cached``: computed before, for the same content and options."""

    n: int
    state: str
    finished: float
    waited: float = 0.0
    took: float = 0.0
    cached: bool = False
    worker: str = ""
    size: int = 0
    sha256: str = ""
    report_sha256: str = ""
    reason: Reason | None = None
    summary: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Job:
    """A job as accepted. ``skipped`` names what a .zip held that is no score, each with the reason."""

    owner: str
    id: str
    created: float
    options: Mapping[str, Any]
    parts: tuple[Part, ...]
    skipped: tuple[tuple[str, str], ...] = ()
    callback_url: str = ""
    callback_secret: str = ""
    bulk: bool = False

    @property
    def ref(self) -> str:
        """The job's name inside the service, ``owner/id``."""
        return f"{self.owner}/{self.id}"

    def asked(self, part: Part) -> dict[str, Any]:
        """The options that hold for a part."""
        return {**self.options, **part.options}

    def part(self, n: int) -> Part | None:
        """The n-th part, or None."""
        return self.parts[n - 1] if 1 <= n <= len(self.parts) else None

    def to_json(self) -> bytes:
        """As it stands in ``job.json``."""
        return json.dumps(asdict(self), ensure_ascii=False, separators=(",", ":")).encode()

    @classmethod
    def from_json(cls, data: bytes) -> Job:
        """The job of a ``job.json``."""
        values = json.loads(data)
        parts = []
        for part in values.pop("parts"):
            refused = part.pop("refused")
            parts.append(Part(refused=Reason(**refused) if refused else None, **part))
        skipped = tuple((name, why) for name, why in values.pop("skipped"))
        return cls(parts=tuple(parts), skipped=skipped, **values)


def outcome_to_json(outcome: Outcome) -> bytes:
    """As it stands in ``outcome.json``."""
    return json.dumps(outcome_values(outcome), ensure_ascii=False, separators=(",", ":")).encode()


def outcome_from_json(data: bytes | str) -> Outcome:
    """The outcome of an ``outcome.json``."""
    return outcome_of(json.loads(data))


def outcome_values(outcome: Outcome) -> dict[str, Any]:
    """An outcome as JSON values. (Not ``asdict``, which copies the summary with all in it.)"""
    values = {name: getattr(outcome, name) for name in Outcome.__slots__}
    return values | {"reason": asdict(outcome.reason) if outcome.reason else None}


def outcome_of(values: dict[str, Any]) -> Outcome:
    """The outcome of its JSON values, which are used up."""
    reason = values.pop("reason")
    return Outcome(reason=Reason(**reason) if reason else None, **values)


def end_state(outcomes: Iterable[Outcome]) -> str:
    """The state of a job all of whose parts have ended: ``done``, ``partly`` or ``failed``."""
    failed = [outcome.state == "failed" for outcome in outcomes]
    if all(failed):
        return "failed"
    return "partly" if any(failed) else "done"


def new_id(now: float | None = None) -> str:
    """A name for a job that cannot be guessed (80 random bits) and sorts by the time it was made."""
    milliseconds = int((time.time() if now is None else now) * 1000)
    return f"{milliseconds:011x}{secrets.token_hex(10)}"


def valid_id(text: str) -> bool:
    """Whether a text can be a job's id, before it becomes part of a path."""
    return len(text) == 31 and not set(text) - set("0123456789abcdef")


def id_time(job_id: str) -> float:
    """When the job of that id was made, in seconds since 1970."""
    return int(job_id[:11], 16) / 1000
