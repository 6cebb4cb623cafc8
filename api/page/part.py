"""A part on the page: its sheets, its notes, its findings."""

from __future__ import annotations

import json
from typing import Any

from flask import request

from annotator.engraving.paper import PAPERS, SIZES
from annotator.exercises.exercises import CAUTION
from annotator.fingering.profile import name_said
from annotator.reading.crooks import CROOKS
from annotator.registry.mark_rows import DEFAULT_MARKS, MARKS, Element
from annotator.registry.product_rows import OF_PART
from api import access
from api.drawn import Wanted, page_outline
from api.job_documents import job_now
from api.outcomes import ended_part
from api.page import form, part_view
from api.page.visitor import blueprint, choice, instrument_name, render, sentence
from api.problems import Problem
from workers.jobs import Job

# What can be taken out of sight on the sheet, as (mark, where it is in the drawing).
DRAWN = {Element.FINGERING: ".fing", Element.LYRIC: ".verse.{}", Element.WORDS: ".dir.{}"}
LAYERS = [(mark, DRAWN[mark.element].format(mark.name)) for mark in MARKS if mark.element in DRAWN]


@blueprint.get("/jobs/<job_id>/parts/<int:n>")
def part(job_id: str, n: int) -> Any:
    """A part: its sheets, its notes, its findings."""
    result = ended_part(job_id, n)
    found, one, _ = result
    paper = choice(request.args.get("paper", ""), [paper.id for paper in PAPERS])
    size = choice(request.args.get("size", ""), [size.id for size in SIZES])
    trouble = ""
    outline: list[dict[str, Any]] = []
    try:
        outline = page_outline(result, Wanted(paper=paper, size=size))
    except Problem as error:
        trouble = sentence(error.detail)
    store = access.context().store
    report = json.loads(store.result(found, one, result[2], "report") or b"{}")
    number = request.args.get("page", default=1, type=int)
    number = min(max(1, number), max(1, len(outline)))
    options = found.asked(one)
    return render(
        "part.html",
        job=job_now(found),
        part=one,
        parts=len(found.parts),
        n=n,
        outline=outline,
        number=number,
        paper=paper,
        asked={name: value for name, value in (("paper", paper), ("size", size)) if request.args.get(name)},
        papers=PAPERS,
        size=size,
        sizes=SIZES,
        trouble=trouble,
        report=report,
        groups=part_view.groups(report, outline),
        crooks=part_view.crooks(report),
        hands=name_said(str(options.get("profile", ""))),
        chosen=str(options.get("instrument", "c-trumpet")),
        instrument=instrument_name(str(report.get("instrument", ""))),
        instruments=form.instruments(),
        crook=str(options.get("crook", "auto")),
        crook_words=CROOKS,
        has=_made(found, one.n),
        products=[product for product in OF_PART if product.label],
        caution=CAUTION,
        layers=[(mark, drawn) for mark, drawn in LAYERS if mark.name in options.get("mark", DEFAULT_MARKS)],
    )


def _made(job: Job, n: int) -> dict[str, str]:
    """The results there are of a part: name → address."""
    parts = job_now(job)["parts"]
    links: dict[str, str] = parts[n - 1].get("links", {})
    return links
