"""Engraved sheets of a part: pages drawn when asked for, and all of them as a PDF."""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from apiflask import APIBlueprint, Schema
from apiflask.fields import String
from flask import Response, jsonify
from marshmallow import validate

from annotator.engraving.paper import PAPERS
from annotator.errors import BadOption
from annotator.registry.product_rows import PRINTED, PRODUCT
from api.downloads import send_bytes
from api.drawn import kept, page_of, page_outline, whole
from api.openapi import describe
from api.outcomes import ended_part
from api.problems import Problem
from workers.engraver import Sheets
from workers.jobs import Part
from workers.media import PDF, SVG

blueprint = APIBlueprint("sheets", __name__, url_prefix="/v1/jobs/<job_id>/parts/<int:n>", tag="Sheets")

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
            return page_of(sheets, k)
        except BadOption as error:
            raise Problem(404, "no-such-part", error.message) from None

    data = kept(result, query["paper"], query["of"], f"page-{k}.svg", draw)
    return _answer(data, SVG, f"{_stem(result[1], query['of'])} {k}.svg", inline=True)


@blueprint.get("/pdf")
@blueprint.input(SheetQuery, location="query", arg_name="query")
@blueprint.doc(
    responses={200: describe.content(PRODUCT["pdf"].about, PDF), **describe.problems(404, 409, 422)},
)
def pdf(job_id: str, n: int, query: Mapping[str, Any]) -> Any:
    """The engraved part with its marks, to print"""
    result = ended_part(job_id, n)
    data = kept(result, query["paper"], query["of"], "part.pdf", whole)
    return _answer(data, PDF, f"{_stem(result[1], query['of'])}.pdf")


def _answer(data: bytes, media_type: str, name: str, *, inline: bool = False) -> Response:
    return send_bytes(data, media_type, sha256(data).hexdigest(), name, inline=inline)


def _stem(part: Part, kind: str) -> str:
    stem = part.name.rsplit("/", 1)[-1].rsplit(".", 1)[0]
    return f"{stem}{PRODUCT[kind].suffix}"
