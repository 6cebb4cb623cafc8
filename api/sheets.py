"""Engraved sheets of a part: pages drawn when asked for, and all of them as a PDF."""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from apiflask import APIBlueprint, Schema
from apiflask.fields import Integer, String
from flask import Response, jsonify
from marshmallow import validate

from annotator.engraving.paper import PAPERS, SIZES
from annotator.errors import BadOption
from annotator.registry.product_rows import PRINTED, PRODUCT
from api.downloads import send_bytes
from api.drawn import Wanted, kept, page_of, page_outline, whole
from api.openapi import describe
from api.outcomes import ended_part
from api.problems import Problem
from workers.engraver import Sheets
from workers.jobs import Part
from workers.media import PDF, SVG

blueprint = APIBlueprint("sheets", __name__, url_prefix="/v1/jobs/<job_id>/parts/<int:n>", tag="Sheets")

KINDS = tuple(product.name for product in PRINTED)


class SheetQuery(Schema):
    """What to print, and how."""

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
    size = String(
        load_default="stand",
        validate=validate.OneOf([one.id for one in SIZES]),
        metadata={"description": "How large the music is; phone is one column, whatever the paper."},
    )
    player = String(
        load_default="",
        validate=validate.Length(max=80),
        metadata={"description": "Whose sheet it is: the name stands on every page."},
    )
    line = Integer(
        load_default=0,
        validate=validate.Range(min=0, max=99),
        metadata={"description": "Only this player's line of a shared staff, as the report counts; 0: all."},
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
    pages = page_outline(ended_part(job_id, n), Wanted(**query))
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

    data = kept(result, Wanted(**query), f"page-{k}.svg", draw)
    return _answer(data, SVG, f"{_stem(result[1], query)} {k}.svg", inline=True)


@blueprint.get("/pdf")
@blueprint.input(SheetQuery, location="query", arg_name="query")
@blueprint.doc(
    responses={200: describe.content(PRODUCT["pdf"].about, PDF), **describe.problems(404, 409, 422)},
)
def pdf(job_id: str, n: int, query: Mapping[str, Any]) -> Any:
    """The engraved part with its marks, to print"""
    result = ended_part(job_id, n)
    data = kept(result, Wanted(**query), "part.pdf", whole)
    return _answer(data, PDF, f"{_stem(result[1], query)}.pdf")


def _answer(data: bytes, media_type: str, name: str, *, inline: bool = False) -> Response:
    return send_bytes(data, media_type, sha256(data).hexdigest(), name, inline=inline)


def _stem(part: Part, query: Mapping[str, Any]) -> str:
    stem = part.name.rsplit("/", 1)[-1].rsplit(".", 1)[0]
    player = "".join(letter for letter in query["player"] if letter.isalnum() or letter in " -_.'")
    return f"{stem}{PRODUCT[query['of']].suffix}{f' - {player}' if player else ''}"
