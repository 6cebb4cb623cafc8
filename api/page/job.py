"""A job on the page: how it stands, again with other choices, away."""

from __future__ import annotations

import json
from typing import Any

from flask import redirect, request, url_for

from annotator.errors import BadOption
from annotator.instruments import load
from api import access
from api.job_documents import job_now
from api.page.visitor import blueprint, refusal, render, sentence
from workers import removal
from workers.acceptance import accept, options_of_text
from workers.intake import take_in


@blueprint.get("/jobs/<job_id>")
def job(job_id: str) -> Any:
    """How a job stands; of a job with one part that is done, the part."""
    found = access.job(job_id)
    document = job_now(found)
    if len(found.parts) == 1 and document["state"] == "done":
        return redirect(url_for("page.part", job_id=job_id, n=1))
    running = document["state"] in ("queued", "running")
    names = [part.name for part in found.parts] or ["A job that cannot be read"]
    return render("job.html", job=document, running=running, files=names)


@blueprint.post("/jobs/<job_id>/again")
def again(job_id: str) -> Any:
    """The same files once more, for another instrument or crook."""
    found = access.job(job_id)
    store = access.context().store
    n = request.form.get("n", default=0, type=int)
    chosen = [one for one in found.parts if (not n or one.n == n) and one.refused is None]
    options = dict(found.options)
    for name in ("instrument", "crook"):
        if request.form.get(name, "").strip():
            options[name] = request.form[name].strip()
    try:
        options = options_of_text(json.dumps(options))
        if "instrument" in options:
            load(options["instrument"])
        files = [(one.name, store.input(found, one)) for one in chosen]
        made = accept(access.context(), access.owner(), take_in(files, access.context().settings), options)
    except BadOption as error:
        return refusal(sentence(error.message)), 422
    return redirect(url_for("page.job", job_id=made.id), 303)


@blueprint.post("/jobs/<job_id>/remove")
def remove(job_id: str) -> Any:
    """Take a job and its files away."""
    found = access.job(job_id)
    removal.remove(access.context(), found.ref)
    return redirect(url_for("page.home"), 303)
