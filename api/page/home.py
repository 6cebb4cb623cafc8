"""The first page: the form, and the recent jobs."""

from __future__ import annotations

import json
from typing import Any

from flask import redirect, request, url_for
from werkzeug.exceptions import RequestEntityTooLarge

from annotator.errors import CrooklineError
from api import access
from api.job_documents import job_summary, name_of
from api.page import form
from api.page.visitor import blueprint, instrument_name, render, sentence
from workers import notes
from workers.acceptance import accept, options_of_text
from workers.intake import take_in
from workers.jobs import SUFFIXES, Job
from workers.players import for_players, players_of
from workers.status import status

RECENT = 12
EACH_PAGE = 50


@blueprint.get("/")
def home() -> Any:
    """The form and the recent jobs."""
    return _home()


@blueprint.post("/jobs")
def send() -> Any:
    """A form with files becomes a job."""
    try:
        files = [(file.filename or "", file.read()) for file in request.files.getlist("files")]
        files = [(name, data) for name, data in files if name]
        if not files:
            return _home("Choose at least one file first: .musicxml, .xml, .mxl, or a .zip of them."), 422
        options = options_of_text(json.dumps(form.answers(request.form, request.files)))
        players = players_of(json.dumps(form.players(request.form, request.files)), options)
        intake = take_in(files, access.context().settings)
        for_players(intake, players)
        job = accept(access.context(), access.owner(), intake, options)
        called = request.form.get("job_name", "").strip()
        if called:
            notes.write(access.context().store, job.ref, notes.Notes().called(called))
    except RequestEntityTooLarge:
        limit = access.context().settings.max_upload // 1_000_000
        return _home(f"That is more than the {limit} MB this service takes at once."), 413
    except CrooklineError as error:
        return _home(sentence(error.message)), 422
    return redirect(url_for("page.job", job_id=job.id), 303)


def _home(trouble: str = "") -> str:
    recent, more = _listed(RECENT)
    return render(
        "home.html",
        trouble=trouble,
        suffixes=[*SUFFIXES, ".zip"],
        instruments=form.instruments(),
        questions=form.questions(),
        players=form.PLAYERS,
        by_name={question.option.name: question for question in form.questions()},
        recent=recent,
        more=more,
    )


@blueprint.get("/jobs")
def jobs() -> Any:
    """All jobs, newest first; of a name, if one is asked for."""
    query = request.args.get("q", "").strip()
    found, more = _listed(EACH_PAGE, before=request.args.get("before", ""), query=query)
    return render("jobs.html", jobs=found, more=more, query=query)


def _listed(most: int, *, before: str = "", query: str = "") -> tuple[list[dict[str, Any]], str]:
    """At most so many jobs, newest first, and the id of the last one if there are older ones."""
    context = access.context()
    found: list[dict[str, Any]] = []
    for job_id in context.store.ids(access.owner()):
        job = context.store.job(f"{access.owner()}/{job_id}") if not before or job_id < before else None
        noted = notes.read(context.store, job.ref) if job is not None else notes.Notes()
        if job is None or noted.put_away:
            continue
        called = noted.name or name_of(job)
        if query and not any(query.casefold() in text.casefold() for text in (called, *_names(job))):
            continue
        if len(found) == most:
            return found, found[-1]["id"]
        found.append(
            job_summary(job, status(context, job), context.settings)
            | {
                "name": called,
                "many": len(job.parts),
                "instrument": instrument_name(str(job.options.get("instrument", "c-trumpet"))),
            }
        )
    return found, ""


def _names(job: Job) -> list[str]:
    return [part.name for part in job.parts]
