"""Jobs: send files in, see how they stand, take them away again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from apiflask import APIBlueprint
from flask import request, url_for
from werkzeug.datastructures import FileStorage

from api import access, schemas
from api.job_documents import job_document, job_summary
from api.openapi import describe
from api.problems import Problem
from workers import logs, removal
from workers.acceptance import accept, callback_of, options_of_text
from workers.intake import BadUpload, take_in
from workers.players import for_players, players_of
from workers.status import status

blueprint = APIBlueprint("jobs", __name__, url_prefix="/v1/jobs", tag="Jobs")
log = logs.logger(__name__)

FORM = "multipart/form-data"


@blueprint.before_request
def form_only() -> None:
    """A job comes as a form with files; other bodies are refused for what they are (RFC 9110, 15.5.16)."""
    if request.method == "POST" and request.mimetype not in ("", FORM):
        raise Problem(
            415,
            "unsupported-media-type",
            f"a job is sent as {FORM}, its scores in the field `files`; this is {request.mimetype}",
            headers={"Accept": FORM},
        )


@blueprint.post("")
@blueprint.input(schemas.CreateHeaders, location="headers", arg_name="headers")
@blueprint.input(schemas.Upload, location="form_and_files", arg_name="upload")
@blueprint.output(
    schemas.JobDocument, status_code=202, description="The job is accepted and will be worked on"
)
@blueprint.doc(responses=describe.problems(409, 413, 415, 422, 429, 503, 507))
def create_job(headers: Mapping[str, str], upload: Mapping[str, Any]) -> Any:
    """Send files to be marked"""
    context = access.context()
    options = options_of_text(upload["options"])
    # A browser's form without a chosen file sends one without a name; the field leaves its place empty.
    given = [file for file in upload["files"] if isinstance(file, FileStorage)]
    if len(given) < len(upload["files"]):
        raise BadUpload("a file has no name; choose a file, and send its name with it")
    files = [(file.filename or "", file.read()) for file in given]
    players = players_of(upload["players"], options)
    intake = take_in(files, context.settings)
    for_players(intake, players)
    job = accept(
        context,
        access.owner(),
        intake,
        options,
        callback=callback_of(context, upload["callback_url"], upload["callback_secret"]),
        key=headers["idempotency_key"],
    )
    return (
        job_document(job, status(context, job), context.settings),
        202,
        {"Location": url_for("jobs.get_job", job_id=job.id)},
    )


@blueprint.get("")
@blueprint.input(schemas.ListQuery, location="query", arg_name="query")
@blueprint.output(schemas.JobList)
@blueprint.doc(responses=describe.problems(422))
def list_jobs(query: Mapping[str, Any]) -> Any:
    """List jobs, newest first"""
    context = access.context()
    limit: int = query["limit"]
    found: list[dict[str, Any]] = []
    more = ""
    for job_id in context.store.ids(access.owner()):
        if query["before"] and job_id >= query["before"]:
            continue
        job = context.store.job(f"{access.owner()}/{job_id}")
        if job is None:
            continue
        if len(found) == limit:
            more = found[-1]["id"]
            break
        found.append(job_summary(job, status(context, job), context.settings))
    headers = {}
    links = [f'<{url_for("jobs.list_jobs", limit=limit)}>; rel="first"']
    if more:
        links.append(f'<{url_for("jobs.list_jobs", limit=limit, before=more)}>; rel="next"')
    headers["Link"] = ", ".join(links)
    return {"jobs": found}, 200, headers


@blueprint.get("/<job_id>")
@blueprint.output(schemas.JobDocument)
@blueprint.doc(responses=describe.problems(404))
def get_job(job_id: str) -> Any:
    """See how a job stands"""
    context = access.context()
    job = access.job(job_id)
    stands = status(context, job)
    headers = {} if stands.ended else {"Retry-After": "1"}
    return job_document(job, stands, context.settings), 200, headers


@blueprint.delete("/<job_id>")
@blueprint.output({}, status_code=204)
@blueprint.doc(responses=describe.problems(404))
def delete_job(job_id: str) -> Any:
    """Stop a job and remove its files"""
    removal.remove(access.context(), access.job(job_id).ref)
    return "", 204
