"""The page for people: send parts in, watch them being marked, look at them, take them away.

Every step works as a plain form or link; the scripts only make it smoother.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlsplit

from apiflask import APIBlueprint
from flask import Response, g, make_response, redirect, render_template, request, url_for
from werkzeug.exceptions import RequestEntityTooLarge

from annotator.errors import BadOption, CrooklineError
from annotator.fingering.profile import available_profiles
from annotator.instruments import available, load
from annotator.options import MARKS, SHOW
from annotator.reading.crooks import CROOKS
from annotator.sheets.paper import PAPERS
from api import access, keys, part_view, sheets
from api.documents import job_document
from api.jobs import accept, parse_options
from api.problems import Problem
from api.results import ended_part
from workers.intake import take_in
from workers.jobs import Job
from workers.status import status

blueprint = APIBlueprint("page", __name__, enable_openapi=False)

RECENT = 12
MARK_WORDS = {
    "fingering": "Fingerings",
    "partial": "Partial numbers",
    "crossing": "Awkward crossings",
    "cue": "Cue line for this trumpet",
    "intonation": "Slides and cents",
}
SHOW_WORDS = {
    "every": "on every note",
    "first": "the first time a note comes",
    "awkward": "at awkward crossings only",
}
LOOKS = ("auto", "paper", "pit")
# Scripts, styles and pictures from here only, none inside the page, and no other site may frame it.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "font-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)


@blueprint.before_request
def guard() -> Any:
    """Refuse forms sent by other sites, and ask for a key where the service wants one."""
    if request.method == "POST" and not _same_site():
        return _refusal("This form was sent from another site. Open this page and send it from there."), 403
    if request.endpoint not in ("page.enter_key", "page.choose_look") and not g.known:
        return make_response(_render("key.html", wrong=False), 401)
    return None


@blueprint.after_request
def protect(response: Response) -> Response:
    """The headers of a page."""
    response.headers["Content-Security-Policy"] = POLICY
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "same-origin"
    response.headers.setdefault("Cache-Control", "no-store")
    return response


@blueprint.errorhandler(Problem)
def problem(error: Problem) -> Any:
    """A problem in words, with a way back."""
    return _refusal(error.detail), error.status


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
        options = parse_options(json.dumps(_options(request.form)))
        job = accept(take_in(files, access.context().settings), options)
    except RequestEntityTooLarge:
        limit = access.context().settings.max_upload // 1_000_000
        return _home(f"That is more than the {limit} MB this service takes at once."), 413
    except CrooklineError as error:
        return _home(_sentence(error.message)), 422
    return redirect(url_for("page.job", job_id=job.id), 303)


@blueprint.get("/jobs/<job_id>")
def job(job_id: str) -> Any:
    """How a job stands; of a job with one part that is done, the part."""
    found = access.job(job_id)
    document = _document(found)
    if len(found.parts) == 1 and document["state"] == "done":
        return redirect(url_for("page.part", job_id=job_id, n=1))
    running = document["state"] in ("queued", "running")
    return _render("job.html", job=document, running=running, files=[part.name for part in found.parts])


@blueprint.get("/jobs/<job_id>/parts/<int:n>")
def part(job_id: str, n: int) -> Any:
    """A part: its sheets, its notes, its findings."""
    result = ended_part(job_id, n)
    found, one, _ = result
    paper = _choice(request.args.get("paper", ""), [paper.id for paper in PAPERS])
    trouble = ""
    outline: list[dict[str, Any]] = []
    try:
        outline = sheets.page_outline(result, paper)
    except Problem as error:
        trouble = _sentence(error.detail)
    store = access.context().store
    report = json.loads(store.get(found.ref, f"{one.output}/report.json") or b"{}")
    number = request.args.get("page", default=1, type=int)
    number = min(max(1, number), max(1, len(outline)))
    options = dict(found.options)
    return _render(
        "part.html",
        job=_document(found),
        part=one,
        parts=len(found.parts),
        n=n,
        outline=outline,
        number=number,
        paper=paper,
        asked=paper if request.args.get("paper") else None,
        papers=PAPERS,
        trouble=trouble,
        report=report,
        groups=part_view.groups(report, outline),
        crooks=part_view.crooks(report),
        chosen=str(options.get("instrument", "c-trumpet")),
        instrument=_instrument_name(str(report.get("instrument", ""))),
        instruments=_instruments(),
        crook=str(options.get("crook", "auto")),
        crook_words=CROOKS,
        has=_made(found, one.n),
    )


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
        options = parse_options(json.dumps(options))
        if "instrument" in options:
            load(options["instrument"])
        files = [(one.name, store.input(found, one)) for one in chosen]
        made = accept(take_in(files, access.context().settings), options)
    except BadOption as error:
        return _refusal(_sentence(error.message)), 422
    return redirect(url_for("page.job", job_id=made.id), 303)


@blueprint.post("/jobs/<job_id>/remove")
def remove(job_id: str) -> Any:
    """Take a job and its files away."""
    found = access.job(job_id)
    access.context().store.remove(found.ref)
    return redirect(url_for("page.home"), 303)


@blueprint.post("/look")
def choose_look() -> Any:
    """Paper, pit, or as the system has it."""
    response = make_response(redirect(_back(), 303))
    look = _choice(request.form.get("look", ""), LOOKS)
    response.set_cookie("crookline_look", look, max_age=365 * 86_400, samesite="Lax")
    return response


@blueprint.post("/key")
def enter_key() -> Any:
    """Keep a key in this browser, for links and pictures that cannot send it in a header."""
    secret = request.form.get("key", "").strip()
    if keys.owner_of(f"Bearer {secret}", access.context().settings) is None:
        return make_response(_render("key.html", wrong=True), 401)
    response = make_response(redirect(url_for("page.home"), 303))
    response.set_cookie(keys.COOKIE, secret, httponly=True, samesite="Strict", secure=request.is_secure)
    return response


@blueprint.post("/leave")
def leave() -> Any:
    """Forget the key in this browser."""
    response = make_response(redirect(url_for("page.home"), 303))
    response.delete_cookie(keys.COOKIE)
    return response


def _same_site() -> bool:
    """Whether a form comes from this page: what the browser says, or that it says nothing (no browser)."""
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = request.headers.get("Origin")
    return origin is None or urlsplit(origin).netloc == request.host


def _back() -> str:
    """The page the form was on, if it is one of ours."""
    came = urlsplit(request.referrer or "")
    if came.netloc != request.host or not came.path.startswith("/"):
        return url_for("page.home")
    return came.path + (f"?{came.query}" if came.query else "")


def _options(form: Mapping[str, Any]) -> dict[str, Any]:
    fields: dict[str, Any] = {
        name: form[name].strip()
        for name in ("instrument", "crook", "show", "profile")
        if form.get(name, "").strip()
    }
    if "marks_given" in form:
        fields["mark"] = request.form.getlist("mark")
    return fields


def _home(trouble: str = "") -> str:
    return _render(
        "home.html",
        trouble=trouble,
        instruments=_instruments(),
        crook_words=CROOKS,
        marks=[(mark, MARK_WORDS.get(mark, mark)) for mark in MARKS],
        shows=[(show, SHOW_WORDS.get(show, show)) for show in SHOW],
        profiles=available_profiles(),
        recent=_recent(),
    )


def _recent() -> list[dict[str, Any]]:
    context = access.context()
    found = []
    for job_id in context.store.ids(access.owner())[: RECENT * 2]:
        job = context.store.job(f"{access.owner()}/{job_id}")
        if job is None:
            continue
        document = _document(job)
        document["files"] = [part.name.rsplit("/", 1)[-1] for part in job.parts]
        document["instrument"] = _instrument_name(str(job.options.get("instrument", "c-trumpet")))
        found.append(document)
        if len(found) == RECENT:
            break
    return found


def _document(job: Job) -> dict[str, Any]:
    context = access.context()
    return job_document(job, status(context, job), context.settings)


def _made(job: Job, n: int) -> dict[str, str]:
    """The results there are of a part: name → address."""
    parts = _document(job)["parts"]
    links: dict[str, str] = parts[n - 1].get("links", {})
    return links


def _instruments() -> list[tuple[str, str]]:
    return [(name, load(name).name) for name in available()]


def _instrument_name(instrument: str) -> str:
    try:
        return load(instrument).name
    except BadOption:
        return instrument


def _choice(value: str, among: Any) -> str:
    """``value`` if it is one of those, else the first of them."""
    choices = list(among)
    return value if value in choices else choices[0]


def _sentence(message: str) -> str:
    return f"{message[:1].upper()}{message[1:]}" + ("" if message.endswith((".", "?", "!")) else ".")


def _refusal(message: str) -> str:
    return _render("refusal.html", message=_sentence(message))


def _render(template: str, **values: Any) -> str:
    look = _choice(request.cookies.get("crookline_look", ""), LOOKS)
    return render_template(
        template, look=look, looks=LOOKS, keyed=bool(access.context().settings.keys), known=g.known, **values
    )
