"""A job on the page: how it stands, its name, again with other choices, away and back."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

from flask import redirect, request, url_for

from annotator import errors
from annotator.errors import CrooklineError
from annotator.score.listed import listed_parts
from api import access
from api.job_documents import job_now, moment, name_of
from api.page import form
from api.page.visitor import blueprint, refusal, render, sentence
from workers import notes, removal
from workers.acceptance import accept, options_of_text
from workers.intake import take_in
from workers.jobs import Job
from workers.status import status

# What a message about a file asks for, by the error's code: the name of an option.
ASKED = {
    kind.code: kind.asks
    for kind in vars(errors).values()
    if isinstance(kind, type) and issubclass(kind, CrooklineError) and kind.asks
}
ASKED_AT_MOST = 30
"""So many files of a job are opened to offer the names of their parts."""
SHOWN = ("all", "failed", "check", "done", "waiting")


@blueprint.get("/jobs/<job_id>")
def job(job_id: str) -> Any:
    """How a job stands; of a job with one file that is done, that file."""
    found = access.job(job_id)
    noted = notes.read(access.context().store, found.ref)
    if noted.put_away:
        called = noted.name or name_of(found)
        return render("away.html", job=found, name=called, until=moment(noted.until)), 404
    document = job_now(found)
    left = [one for one in document["parts"] if one["n"] not in noted.parts]
    if len(found.parts) == 1 and document["state"] == "done" and left:
        return redirect(url_for("page.part", job_id=job_id, n=1))
    show, query = request.args.get("show", "all"), request.args.get("q", "").strip()
    player = request.args.get("player", "")
    rows = sorted(left, key=lambda one: (one["state"] != "failed", one["n"]))
    return render(
        "job.html",
        job=document,
        name=noted.name or name_of(found),
        own_name=noted.name,
        running=document["state"] in ("queued", "running"),
        rows=[
            one
            for one in rows
            if _is(one, show)
            and query.casefold() in one["name"].casefold()
            and (not player or one.get("player") == player)
        ],
        players=list(dict.fromkeys(one["player"] for one in left if one.get("player"))),
        player=player,
        hands=form.hands(found),
        left=left,
        away=[one for one in document["parts"] if one["n"] in noted.parts],
        counts=[(kind, count) for kind in SHOWN if (count := sum(_is(one, kind) for one in left))],
        show=show,
        query=query,
        asked=_asked(found, rows),
        questions={question.option.name: question for question in form.questions(found.options)},
    )


def _is(one: dict[str, Any], show: str) -> bool:
    if show == "check":
        return bool(one["state"] == "done" and one.get("summary", {}).get("warnings"))
    if show == "waiting":
        return one["state"] in ("queued", "running")
    return bool(one["state"] == show) if show in ("failed", "done") else True


def _asked(job: Job, rows: list[dict[str, Any]]) -> dict[int, list[tuple[str, str]]]:
    """For each file whose message asks for the name of a part: the parts it has, as (id, words)."""
    found: dict[int, list[tuple[str, str]]] = {}
    for one in rows:
        code = (one.get("reason") or {}).get("code", "")
        part = job.part(one["n"])
        if ASKED.get(code) == "part" and part is not None and len(found) < ASKED_AT_MOST:
            try:
                listed = listed_parts(access.context().store.input(job, part))
                found[one["n"]] = [(each.id, f"{each.name or each.id} ({each.id})") for each in listed]
            except (CrooklineError, FileNotFoundError):
                found[one["n"]] = []
    return found


@blueprint.post("/jobs/<job_id>/again")
def again(job_id: str) -> Any:
    """The same files once more, with other choices."""
    found = access.job(job_id)
    store = access.context().store
    n = request.form.get("n", default=0, type=int)
    chosen = [one for one in found.parts if (not n or one.n == n) and one.refused is None]
    try:
        given = form.answers(request.form, request.files)
        options = options_of_text(json.dumps(dict(found.options) | given))
        files = [(one.name, store.input(found, one)) for one in chosen]
        intake = take_in(files, access.context().settings)
        # A player's own choices stay, save those that are made anew.
        intake.parts = [
            (replace(new, player=old.player, options={**old.options, **given} if old.player else {}), data)
            for old, (new, data) in zip(chosen, intake.parts, strict=True)
        ]
        made = accept(access.context(), access.owner(), intake, options)
    except CrooklineError as error:
        return refusal(sentence(error.message)), 422
    return redirect(url_for("page.job", job_id=made.id), 303)


@blueprint.post("/jobs/<job_id>/name")
def name(job_id: str) -> Any:
    """Call a job by a name of one's own."""
    found = access.job(job_id)
    store = access.context().store
    noted = notes.read(store, found.ref).called(request.form.get("name", ""))
    notes.write(store, found.ref, noted)
    return redirect(url_for("page.job", job_id=job_id), 303)


@blueprint.get("/jobs/<job_id>/remove")
def ask_to_remove(job_id: str) -> Any:
    """Ask before a job goes, and say what goes with it."""
    found = access.job(job_id)
    called = notes.read(access.context().store, found.ref).name or name_of(found)
    minutes = round(notes.UNDO_SECONDS / 60)
    document = job_now(found)
    running = document["state"] in ("queued", "running")
    return render("remove.html", job=document, name=called, minutes=minutes, running=running)


@blueprint.post("/jobs/<job_id>/remove")
def remove(job_id: str) -> Any:
    """Put a job away; for a while it can be had back."""
    found = access.job(job_id)
    context = access.context()
    if not status(context, found).ended:
        removal.remove(context, found.ref)  # what is stopped halfway is of no use to anybody
        return redirect(url_for("page.home"), 303)
    notes.put_away(context.store, found.ref)
    return redirect(url_for("page.job", job_id=job_id), 303)


@blueprint.post("/jobs/<job_id>/back")
def bring_back(job_id: str) -> Any:
    """Have a job back that was put away."""
    found = access.job(job_id)
    store = access.context().store
    notes.bring_back(store, found.ref)
    return redirect(url_for("page.job", job_id=job_id), 303)


@blueprint.post("/jobs/<job_id>/parts/<int:n>/remove")
def remove_part(job_id: str, n: int) -> Any:
    """Put one file of a job away."""
    found = access.job(job_id)
    access.part(found, n)
    if len(found.parts) == 1:
        return remove(job_id)
    store = access.context().store
    notes.write(store, found.ref, notes.read(store, found.ref).without(n))
    return redirect(url_for("page.job", job_id=job_id), 303)


@blueprint.post("/jobs/<job_id>/parts/<int:n>/back")
def bring_part_back(job_id: str, n: int) -> Any:
    """Have one file of a job back."""
    found = access.job(job_id)
    store = access.context().store
    notes.write(store, found.ref, notes.read(store, found.ref).having(n))
    return redirect(url_for("page.job", job_id=job_id), 303)
