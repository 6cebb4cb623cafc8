"""Engraved sheets of a part: pages drawn when asked for, and all of them as a PDF."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import cache
from hashlib import sha256
from typing import Any

from apiflask import APIBlueprint, Schema
from apiflask.fields import String
from flask import Response, jsonify
from marshmallow import validate

from annotator.engraving.paper import PAPERS, paper
from annotator.errors import BadOption, CrooklineError
from annotator.registry.product_rows import PRINTED, PRODUCT
from api import access
from api.downloads import send_bytes
from api.front import turn
from api.openapi import describe
from api.problems import Problem, not_ready
from api.results import await_product, ended_part
from workers.engraver import Engraver, Sheets, StillWorking
from workers.jobs import Job, Outcome, Part
from workers.media import PDF, SVG
from workers.products import file as product_file

blueprint = APIBlueprint("sheets", __name__, url_prefix="/v1/jobs/<job_id>/parts/<int:n>", tag="Sheets")

Result = tuple[Job, Part, Outcome]

# Seconds that a thread waits for the engraver before it makes room for another request, and that an asker
# waits in all.
PATIENCE = 0.5
DRAWING_SECONDS = 240.0

KINDS = tuple(product.name for product in PRINTED)


class SheetQuery(Schema):
    """What to print, and on what."""

    of = String(
        load_default="annotated",
        validate=validate.OneOf(KINDS),
        metadata={"description": "The marked part, or what is made of it."},
    )
    paper = String(
        load_default="a4",
        validate=validate.OneOf([one.id for one in PAPERS]),
        metadata={"description": "The size of paper."},
    )


@cache
def engraver() -> Engraver:
    """The one of this process."""
    return Engraver()


@blueprint.get("/pages", endpoint="pages")
@blueprint.input(SheetQuery, location="query", arg_name="query")
@blueprint.doc(
    responses={
        200: describe.document(PRODUCT["pages"].about),
        **describe.problems(404, 409, 422),
    }
)
def outline(job_id: str, n: int, query: Mapping[str, Any]) -> Any:
    """How many engraved pages there are, and which measures are on each"""
    pages = page_outline(ended_part(job_id, n), query["paper"], query["of"])
    return jsonify({"paper": query["paper"], "pages": pages})


@blueprint.get("/pages/<int:k>")
@blueprint.input(SheetQuery, location="query", arg_name="query")
@blueprint.doc(
    responses={200: describe.content("The page, drawn", SVG), **describe.problems(404, 409, 422)},
)
def page(job_id: str, n: int, k: int, query: Mapping[str, Any]) -> Any:
    """One engraved page of the part, as a drawing"""
    result = ended_part(job_id, n)

    def draw(sheets: Sheets) -> bytes:
        try:
            return engraver().page(sheets, k, owner=access.owner(), patience=PATIENCE).encode()
        except BadOption as error:
            raise Problem(404, "no-such-part", error.message) from None

    data = _kept(result, query["paper"], query["of"], f"page-{k}.svg", draw)
    return _answer(data, SVG, f"{_stem(result[1], query['of'])} {k}.svg", inline=True)


@blueprint.get("/pdf")
@blueprint.input(SheetQuery, location="query", arg_name="query")
@blueprint.doc(
    responses={200: describe.content(PRODUCT["pdf"].about, PDF), **describe.problems(404, 409, 422)},
)
def pdf(job_id: str, n: int, query: Mapping[str, Any]) -> Any:
    """The engraved part with its marks, to print"""
    result = ended_part(job_id, n)
    data = _kept(result, query["paper"], query["of"], "part.pdf", _document)
    return _answer(data, PDF, f"{_stem(result[1], query['of'])}.pdf")


def page_outline(result: Result, paper_id: str, kind: str = "annotated") -> list[dict[str, Any]]:
    """Which measures are on which page of a part. Raises Problem."""

    def draw(sheets: Sheets) -> bytes:
        found = engraver().outline(sheets, owner=access.owner(), patience=PATIENCE)
        return json.dumps(found).encode()

    found: list[dict[str, Any]] = json.loads(_kept(result, paper_id, kind, "outline.json", draw))
    return found


def _kept(result: Result, paper_id: str, kind: str, name: str, draw: Callable[[Sheets], bytes]) -> bytes:
    """What was drawn before, or what ``draw`` makes of the part now, which is kept."""
    job, part, _ = result
    store = access.context().store
    where = f"{part.output}/sheets/{kind}-{paper_id}/{name}"
    known = store.get(job.ref, where)
    if known is not None:
        return known
    sheets = _sheets(result, paper_id, kind)
    try:
        made = draw(sheets)
    except StillWorking:
        here = turn()
        here.again, here.patience = True, DRAWING_SECONDS
        raise not_ready("the sheets are being drawn") from None
    except CrooklineError as error:
        raise Problem(422, "result-failed", str(error)) from None
    store.put(job.ref, where, made)
    return made


def _document(sheets: Sheets) -> bytes:
    return engraver().pdf(sheets, owner=access.owner(), patience=PATIENCE)


def _sheets(result: Result, paper_id: str, kind: str) -> Sheets:
    """What there is to draw. Raises Problem."""
    job, part, outcome = result
    store = access.context().store
    digest, file = outcome.sha256, f"{part.output}/annotated.{part.kind}"
    if kind != "annotated":
        digest, file = await_product(job, part, PRODUCT[kind]), product_file(PRODUCT[kind], part)
    data, kept = store.get(job.ref, file), store.get(job.ref, f"{part.output}/report.json")
    if data is None or kept is None:
        raise Problem(404, "part-failed", "the results of this part are not there (any more)")
    report = json.loads(kept)
    if kind == "exercises":
        # Their notes are no longer those of the part.
        report = {"instrument": report["instrument"]}
    return Sheets(digest, data, report, paper(paper_id), kind)


def _answer(data: bytes, media_type: str, name: str, *, inline: bool = False) -> Response:
    return send_bytes(data, media_type, sha256(data).hexdigest(), name, inline=inline)


def _stem(part: Part, kind: str) -> str:
    stem = part.name.rsplit("/", 1)[-1].rsplit(".", 1)[0]
    return f"{stem}{PRODUCT[kind].suffix}"
