"""Jobs put into a store without a web server, and what is in it then."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from workers.context import Context
from workers.intake import take_in
from workers.jobs import Job, id_time, new_id


def accepted(context: Context, *files: tuple[str, bytes], age: float = 60) -> Job:
    """A job as the web server keeps it; its parts have not been sent."""
    intake = take_in(files, context.settings)
    job_id = new_id(time.time() - age)
    job = Job("local", job_id, id_time(job_id), {}, tuple(part for part, _ in intake.parts))
    context.store.accept(job, intake.parts)
    return job


def clock(patch: pytest.MonkeyPatch, ahead: float) -> None:
    """Stop the clock so many seconds from now."""
    then = time.time() + ahead
    patch.setattr("time.time", lambda: then)


def files_of(context: Context) -> dict[str, bytes]:
    """Everything in the store."""
    root = Path(context.store.files.root)
    return {str(path.relative_to(root)): path.read_bytes() for path in root.rglob("*") if path.is_file()}
