"""The JSON documents of jobs, from how they stand."""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

from flask import url_for

from workers.jobs import Job, Part
from workers.settings import Settings
from workers.status import Status

DAY = 86_400
RESULTS = {
    "annotated": "results.annotated",
    "report": "results.report",
    "transposed": "results.transposed",
    "exercises": "results.exercises",
    "pages": "sheets.outline",
    "pdf": "sheets.pdf",
}


def job_document(job: Job, status: Status, settings: Settings) -> dict[str, Any]:
    """A job with its parts."""
    finished = max((outcome.finished for outcome in status.outcomes.values()), default=None)
    return {
        **job_summary(job, status, settings),
        "finished": moment(finished) if status.ended and finished else None,
        "options": dict(job.options),
        "parts": [part_document(job, part, status) for part in job.parts],
        "skipped": [{"name": name, "reason": reason} for name, reason in job.skipped],
    }


def job_summary(job: Job, status: Status, settings: Settings) -> dict[str, Any]:
    """A job in a list."""
    links = {
        "self": url_for("jobs.get_job", job_id=job.id),
        "events": url_for("events.events", job_id=job.id),
    }
    if status.ended:
        links["archive"] = url_for("results.archive", job_id=job.id)
    return {
        "id": job.id,
        "state": status.state,
        "created": moment(job.created),
        "expires": moment(job.created + settings.keep_days * DAY),
        "progress": round(len(status.outcomes) / len(job.parts), 4),
        "counts": status.counts(job),
        "links": links,
    }


def part_document(job: Job, part: Part, status: Status) -> dict[str, Any]:
    """One file of a job."""
    document: dict[str, Any] = {"n": part.n, "name": part.name, "state": status.part_state(part.n)}
    outcome = status.outcomes.get(part.n)
    if outcome is not None:
        document |= {
            "cached": outcome.cached,
            "reason": asdict(outcome.reason) if outcome.reason else None,
            "waited": outcome.waited,
            "seconds": outcome.took,
            "worker": outcome.worker,
        }
        if outcome.state == "done":
            document["summary"] = dict(outcome.summary)
            document["links"] = {
                name: url_for(endpoint, job_id=job.id, n=part.n) for name, endpoint in RESULTS.items()
            }
    elif part.n in status.running:
        document["worker"] = status.running[part.n]["worker"]
    return document


def moment(seconds: float) -> datetime:
    """A time in seconds since 1970 as a date and time in UTC."""
    return datetime.fromtimestamp(round(seconds, 3), UTC)
