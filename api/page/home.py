"""The first page: the form, and the recent jobs."""

from __future__ import annotations

import json
from typing import Any

from flask import redirect, request, url_for
from werkzeug.exceptions import RequestEntityTooLarge

from annotator.errors import CrooklineError
from api import access
from api.job_documents import job_now
from api.page import form
from api.page.visitor import blueprint, instrument_name, render, sentence
from workers.acceptance import accept, options_of_text
from workers.intake import take_in
from workers.jobs import SUFFIXES

RECENT = 12


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
        options = options_of_text(json.dumps(form.answers(request.form)))
        job = accept(access.context(), access.owner(), take_in(files, access.context().settings), options)
    except RequestEntityTooLarge:
        limit = access.context().settings.max_upload // 1_000_000
        return _home(f"That is more than the {limit} MB this service takes at once."), 413
    except CrooklineError as error:
        return _home(sentence(error.message)), 422
    return redirect(url_for("page.job", job_id=job.id), 303)


def _home(trouble: str = "") -> str:
    return render(
        "home.html",
        trouble=trouble,
        suffixes=[*SUFFIXES, ".zip"],
        instruments=form.instruments(),
        questions=form.questions(),
        recent=_recent(),
    )


def _recent() -> list[dict[str, Any]]:
    context = access.context()
    found = []
    for job_id in context.store.ids(access.owner())[: RECENT * 2]:
        job = context.store.job(f"{access.owner()}/{job_id}")
        if job is None:
            continue
        document = job_now(job)
        document["files"] = [part.name.rsplit("/", 1)[-1] for part in job.parts] or [
            "A job that cannot be read"
        ]
        document["instrument"] = instrument_name(str(job.options.get("instrument", "c-trumpet")))
        found.append(document)
        if len(found) == RECENT:
            break
    return found
