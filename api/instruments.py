"""The trade's tables: instruments and their charts, crooks."""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from apiflask import APIBlueprint, Schema
from apiflask.fields import Boolean, String
from flask import jsonify, request, url_for

from annotator import instruments
from annotator.chart import chart as charts
from annotator.errors import BadOption
from annotator.instruments import Instrument
from annotator.reading.crooks import CROOKS
from api import schemas
from api.downloads import send_bytes
from api.openapi import describe
from api.problems import Problem
from workers.media import JSON, PDF, SVG

blueprint = APIBlueprint("instruments", __name__, url_prefix="/v1", tag="Tables")


@blueprint.get("/instruments")
@blueprint.output(schemas.InstrumentList)
def list_instruments() -> Any:
    """The trumpets there are to choose from"""
    return {"instruments": [_document(instruments.load(name)) for name in instruments.available()]}


class ChartQuery(Schema):
    """What of a chart is wanted."""

    low = String(
        data_key="from",
        load_default="",
        metadata={"description": "The lowest written note wanted, as `F#3`; the trumpet's own if left out."},
    )
    high = String(
        data_key="to",
        load_default="",
        metadata={"description": "The highest written note wanted, as `C6`."},
    )
    cents = Boolean(
        load_default=False,
        metadata={"description": "A picture or print with how many cents each note is off."},
    )


@blueprint.get("/instruments/<instrument_id>/chart")
@blueprint.input(ChartQuery, location="query", arg_name="query")
@blueprint.doc(
    responses=describe.responses(
        *(404, 406, 422),
        s200=describe.alternatives("Every note with its fingering and partial", JSON, SVG, PDF),
    )
)
def chart(instrument_id: str, query: Mapping[str, Any]) -> Any:
    """A trumpet's fingering chart

    As JSON, or to look at (SVG) or print (PDF), as `Accept` says.
    """
    instrument = _load(instrument_id)
    accepted = request.accept_mimetypes
    wanted = accepted.best_match([JSON, SVG, PDF]) if accepted else JSON
    if wanted is None:
        raise Problem(406, "not-acceptable", f"there is {JSON}, {SVG} and {PDF}")
    wish = charts.Wish(**query)
    try:
        charts.rows(instrument, wish)
    except BadOption as error:
        raise Problem(422, "bad-option", error.message) from None
    if wanted == JSON:
        response = jsonify(charts.document(instrument, wish))
    else:
        pdf = wanted == PDF
        data = charts.pdf(instrument, wish=wish) if pdf else charts.svg(instrument, wish=wish).encode()
        name = f"{instrument.id}.{'pdf' if wanted == PDF else 'svg'}"
        response = send_bytes(data, wanted, sha256(data).hexdigest(), name, inline=True)
    response.vary.add("Accept")
    return response


@blueprint.get("/crooks")
@blueprint.output(schemas.CrookList)
def list_crooks() -> Any:
    """The crooks, and what each sounds"""
    return {
        "crooks": [
            {
                "id": crook.id,
                "name": crook.name,
                "sounding": {"diatonic": crook.sounding.diatonic, "chromatic": crook.sounding.chromatic},
            }
            for crook in CROOKS
        ]
    }


def _load(instrument_id: str) -> Instrument:
    try:
        return instruments.load(instrument_id)
    except BadOption as error:
        raise Problem(404, "no-such-instrument", error.message) from None


def _document(instrument: Instrument) -> dict[str, Any]:
    return {
        "id": instrument.id,
        "name": instrument.name,
        "sounding": {
            "diatonic": instrument.transposition.diatonic,
            "chromatic": instrument.transposition.chromatic,
        },
        "valves": instrument.valve_count,
        "lowest": instrument.low.name,
        "highest": instrument.high.name,
        "links": {
            "chart": url_for("instruments.chart", instrument_id=instrument.id),
        },
    }
