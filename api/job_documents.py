"""The JSON documents of jobs, from how they stand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

from flask import url_for

from annotator.registry.product_rows import OF_PART
from api import access
from workers.jobs import Job, Part
from workers.settings import Settings
from workers.status import Status
from workers.status import status as status_of

DAY = 86_400


def job_now(job: Job) -> dict[str, Any]:
    """A job with its parts as it stands now, for who asks through the application."""
    context = access.context()
    return job_document(job, status_of(context, job), context.settings)


def name_of(job: Job) -> str:
    """What a job is called as long as nobody has given it a name."""
    if not job.parts:
        return "A job that cannot be read"
    first = job.parts[0].name.rsplit("/", 1)[-1]
    more = len(job.parts) - 1
    return f"{first} and {more} more" if more else first


def job_document(job: Job, status: Status, settings: Settings) -> dict[str, Any]:
    """A job with its parts."""
    links = _links(job)
    finished = max((outcome.finished for outcome in status.outcomes.values()), default=None)
    return {
        **job_summary(job, status, settings),
        "finished": moment(finished) if status.ended and finished else None,
        "options": dict(job.options),
        "parts": [part_document(part, status, links) for part in job.parts],
        "skipped": [{"name": name, "reason": reason} for name, reason in job.skipped],
    }


def job_summary(job: Job, status: Status, settings: Settings) -> dict[str, Any]:
    """A job in a list."""
    links = {
        "self": url_for("jobs.get_job", job_id=job.id),
        "events": url_for("events.events", job_id=job.id),
    }
    if status.ended and not job.unreadable:
        links["archive"] = url_for("results.archive", job_id=job.id)
        if job.options.get("plan"):
            links["plan"] = url_for("results.plan", job_id=job.id)
    return {
        "id": job.id,
        "state": status.state,
        "created": moment(job.created),
        "expires": moment(job.created + settings.keep_days * DAY),
        "progress": round(len(status.outcomes) / max(1, len(job.parts)), 4),
        "counts": status.counts(job),
        "unreadable": job.unreadable or None,
        "links": links,
    }


def _links(job: Job) -> dict[str, tuple[str, str]]:
    """The addresses of a part's results, before and after the part's number: asking Flask for all of each
    part would take longer than all the rest of the document."""
    links = {}
    for product in OF_PART:
        before, _, after = url_for(f"{product.blueprint}.{product.name}", job_id=job.id, n=0).rpartition("/0")
        links[product.name] = (f"{before}/", after)
    return links


def part_document(part: Part, status: Status, links: Mapping[str, tuple[str, str]]) -> dict[str, Any]:
    """One file of a job."""
    document: dict[str, Any] = {"n": part.n, "name": part.name, "state": status.part_state(part.n)}
    if part.player:
        document["player"] = part.player
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
            document["links"] = {name: f"{before}{part.n}{after}" for name, (before, after) in links.items()}
    elif part.n in status.running:
        document["worker"] = status.running[part.n]["worker"]
    return document


def moment(seconds: float) -> datetime:
    """A time in seconds since 1970 as a date and time in UTC."""
    return datetime.fromtimestamp(round(seconds, 3), UTC)
