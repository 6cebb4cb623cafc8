"""Results: the files that came of a part, and of a job as a whole."""

from __future__ import annotations

from typing import Any

from apiflask import APIBlueprint

from api import access, describe
from api.files import send
from api.problems import Problem, not_ready
from workers import archive as archives
from workers.jobs import Job, Outcome, Part
from workers.media import MUSICXML, MXL, ZIP
from workers.status import status

blueprint = APIBlueprint("results", __name__, url_prefix="/v1/jobs/<job_id>", tag="Results")


@blueprint.get("/parts/<int:n>/annotated")
@blueprint.doc(
    responses=describe.responses(404, 409, s200=describe.content("The file with its marks", MUSICXML, MXL))
)
def annotated(job_id: str, n: int) -> Any:
    """The file with its marks"""
    job, part, outcome = ended_part(job_id, n)
    name = f"{part.output}/annotated.{part.kind}"
    media_type = MXL if part.kind == "mxl" else MUSICXML
    return send(job, name, media_type, outcome.sha256, part.name)


@blueprint.get("/parts/<int:n>/report")
@blueprint.doc(
    responses=describe.responses(404, 409, s200=describe.document("Every note and what to do on it"))
)
def report(job_id: str, n: int) -> Any:
    """Every note and what to do on it, as JSON"""
    job, part, outcome = ended_part(job_id, n)
    file_name = part.name.rsplit(".", 1)[0] + ".report.json"
    return send(
        job, f"{part.output}/report.json", "application/json", outcome.report_sha256, file_name, inline=True
    )


@blueprint.get("/archive")
@blueprint.doc(
    responses=describe.responses(404, 409, s200=describe.content("Everything, laid out as it came in", ZIP))
)
def archive(job_id: str) -> Any:
    """Everything, laid out as it came in, as one .zip"""
    context = access.context()
    job = access.job(job_id)
    stands = status(context, job)
    if not stands.ended:
        waiting = len(job.parts) - len(stands.outcomes)
        raise not_ready(
            f"the job is {stands.state}; {waiting} of {len(job.parts)} parts are still to be done"
        )
    digest = archives.ensure(context.store, job, stands)
    return send(job, archives.NAME, ZIP, digest, f"crookline-{job.id[:11]}.zip")


def ended_part(job_id: str, n: int) -> tuple[Job, Part, Outcome]:
    """The part the path names and its outcome, for who wants its results."""
    context = access.context()
    job = access.job(job_id)
    part = access.part(job, n)
    outcome = context.store.outcome(job, part)
    if outcome is None:
        raise not_ready(f"part {n} is not done yet")
    if outcome.reason is not None:
        reason = {
            "code": outcome.reason.code,
            "message": outcome.reason.message,
            "part": outcome.reason.part,
            "measure": outcome.reason.measure,
        }
        raise Problem(404, "part-failed", f"part {n} has no results: {outcome.reason.message}", reason=reason)
    return job, part, outcome
