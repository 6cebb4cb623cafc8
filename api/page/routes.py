"""The page for people: send parts in, watch them being marked, look at them, take them away.

Every step works as a plain form or link; the scripts only make it smoother.
"""

from __future__ import annotations

import json
from hashlib import sha256
from typing import Any

from flask import redirect, request, url_for
from werkzeug.exceptions import RequestEntityTooLarge

from annotator.chart import chart as charts
from annotator.engraving.drawing import signs
from annotator.engraving.paper import PAPERS
from annotator.errors import BadOption, CrooklineError
from annotator.exercises.exercises import CAUTION
from annotator.instruments import Instrument, load
from annotator.reading.crooks import CROOKS
from annotator.registry.product_rows import OF_PART
from api import access, sheets
from api.downloads import send_bytes
from api.job_documents import job_document
from api.jobs import accept, parse_options
from api.page import form, part_view
from api.page.visitor import blueprint, choice, refusal, render, sentence
from api.problems import Problem
from api.results import ended_part
from workers.intake import take_in
from workers.jobs import SUFFIXES, Job
from workers.media import PDF, SVG
from workers.status import status

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
        options = parse_options(json.dumps(form.answers(request.form)))
        job = accept(take_in(files, access.context().settings), options)
    except RequestEntityTooLarge:
        limit = access.context().settings.max_upload // 1_000_000
        return _home(f"That is more than the {limit} MB this service takes at once."), 413
    except CrooklineError as error:
        return _home(sentence(error.message)), 422
    return redirect(url_for("page.job", job_id=job.id), 303)


@blueprint.get("/jobs/<job_id>")
def job(job_id: str) -> Any:
    """How a job stands; of a job with one part that is done, the part."""
    found = access.job(job_id)
    document = _document(found)
    if len(found.parts) == 1 and document["state"] == "done":
        return redirect(url_for("page.part", job_id=job_id, n=1))
    running = document["state"] in ("queued", "running")
    return render("job.html", job=document, running=running, files=[part.name for part in found.parts])


@blueprint.get("/jobs/<job_id>/parts/<int:n>")
def part(job_id: str, n: int) -> Any:
    """A part: its sheets, its notes, its findings."""
    result = ended_part(job_id, n)
    found, one, _ = result
    paper = choice(request.args.get("paper", ""), [paper.id for paper in PAPERS])
    trouble = ""
    outline: list[dict[str, Any]] = []
    try:
        outline = sheets.page_outline(result, paper)
    except Problem as error:
        trouble = sentence(error.detail)
    store = access.context().store
    report = json.loads(store.get(found.ref, f"{one.output}/report.json") or b"{}")
    number = request.args.get("page", default=1, type=int)
    number = min(max(1, number), max(1, len(outline)))
    options = dict(found.options)
    return render(
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
        instruments=form.instruments(),
        crook=str(options.get("crook", "auto")),
        crook_words=CROOKS,
        has=_made(found, one.n),
        products=[product for product in OF_PART if product.label],
        caution=CAUTION,
    )


@blueprint.get("/charts/<instrument_id>")
def chart(instrument_id: str) -> Any:
    """The fingering chart of a trumpet, as a picture and as a table."""
    instrument = _instrument(instrument_id)
    return render("chart.html", instrument=instrument, rows=charts.rows(instrument), signs=signs)


@blueprint.get("/charts/<instrument_id>.svg")
def chart_picture(instrument_id: str) -> Any:
    """The chart to look at."""
    data = charts.svg(_instrument(instrument_id)).encode()
    return send_bytes(data, SVG, sha256(data).hexdigest(), f"{instrument_id}.svg", inline=True)


@blueprint.get("/charts/<instrument_id>.pdf")
def chart_print(instrument_id: str) -> Any:
    """The chart to print."""
    data = charts.pdf(_instrument(instrument_id))
    return send_bytes(data, PDF, sha256(data).hexdigest(), f"{instrument_id} chart.pdf")


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
        return refusal(sentence(error.message)), 422
    return redirect(url_for("page.job", job_id=made.id), 303)


@blueprint.post("/jobs/<job_id>/remove")
def remove(job_id: str) -> Any:
    """Take a job and its files away."""
    found = access.job(job_id)
    access.context().store.remove(found.ref)
    return redirect(url_for("page.home"), 303)


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


def _instrument_name(instrument: str) -> str:
    try:
        return load(instrument).name
    except BadOption:
        return instrument


def _instrument(instrument_id: str) -> Instrument:
    try:
        return load(instrument_id)
    except BadOption as error:
        raise Problem(404, "no-such-instrument", error.message) from None
