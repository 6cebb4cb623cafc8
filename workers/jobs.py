"""What a job is: the values kept in the store (``stored.py`` has how they are written).

A job is written once, when it is accepted. What became of each part is a value of its own, written
by the worker that did it; so no two processes ever write the same file with different contents.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from annotator.importing.opening import TAKEN, is_imported

ENDED = ("done", "partly", "failed", "unreadable")
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
class Piece:
    """A result inside a pack: ``stored`` bytes from ``at`` on, which are ``size`` bytes (CRC-32 ``crc``) when
    unpacked; ``deflated`` (RFC 1951), or as they are."""

    at: int
    stored: int
    size: int
    crc: int
    deflated: bool = True


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a part. ``state`` is ``done`` or ``failed``; times in seconds since 1970,
    ``waited`` and ``took`` in seconds; ``cached``: computed before, for the same content and options.

    ``pack`` names the pack its results are in, ``pieces`` says where: ``annotated``, ``report``. Both are
    empty in what earlier versions wrote: there each result is a file. ``more``: what a later version wrote
    and this one does not know; it is kept.
    """

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
    pack: str = ""
    pieces: Mapping[str, Piece] = field(default_factory=dict)
    more: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Job:
    """A job as accepted. ``skipped`` names what a .zip held that is no score, each with the reason.

    ``together``: its files lie end to end in one; ``packed``: its results lie in packs. ``unreadable``: why
    what is kept of it cannot be read; then nothing else is known of it.
    """

    owner: str
    id: str
    created: float
    options: Mapping[str, Any]
    parts: tuple[Part, ...]
    skipped: tuple[tuple[str, str], ...] = ()
    callback_url: str = ""
    callback_secret: str = ""
    bulk: bool = False
    together: bool = True
    packed: bool = True
    unreadable: str = ""

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
