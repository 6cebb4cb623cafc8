"""What every route starts with: the context, and the job or part that the path names."""

from __future__ import annotations

from typing import Any, cast

import structlog
from apiflask import APIFlask
from flask import current_app, g

from api.problems import Problem
from workers.context import Context
from workers.jobs import Job, Part


def context() -> Context:
    """The settings, store and queue of the running application."""
    return cast(Context, current_app.extensions["crookline"])


def owner() -> str:
    """Who asks."""
    return cast(str, g.owner)


def job(job_id: str) -> Job:
    """The owner's job of that id; another owner's is as good as none."""
    structlog.contextvars.bind_contextvars(job=f"{owner()}/{job_id}")
    found = context().store.job(f"{owner()}/{job_id}")
    if found is None:
        raise Problem(404, "no-such-job", f"there is no job {job_id!r}")
    return found


def part(found: Job, n: int) -> Part:
    """The n-th part of a job."""
    part = found.part(n)
    if part is None:
        raise Problem(404, "no-such-part", f"the job has {len(found.parts)} parts; there is no part {n}")
    return part


def application() -> APIFlask:
    """The running application."""
    return cast(APIFlask, current_app)


def extension(name: str) -> Any:
    """What the factory has put into the application under a name."""
    return current_app.extensions[name]
