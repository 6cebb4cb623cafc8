"""Fingering charts, to look at and to print."""

from __future__ import annotations

from hashlib import sha256
from typing import Any

from flask import request

from annotator.chart import chart as charts
from annotator.engraving.drawing import signs
from annotator.errors import BadOption
from annotator.instruments import Instrument, load
from api.downloads import send_bytes
from api.page.visitor import blueprint, render
from api.problems import Problem
from workers.media import PDF, SVG


@blueprint.get("/charts/<instrument_id>")
def chart(instrument_id: str) -> Any:
    """The fingering chart of a trumpet, as a picture and as a table."""
    instrument = _instrument(instrument_id)
    whole = charts.rows(instrument)
    wish = _wish(instrument)
    return render(
        "chart.html",
        instrument=instrument,
        rows=charts.rows(instrument, wish),
        signs=signs,
        pitches=[row["written"] for row in whole],
        low=wish.low or whole[0]["written"],
        high=wish.high or whole[-1]["written"],
        cents=wish.cents,
    )


@blueprint.get("/charts/<instrument_id>.svg")
def chart_picture(instrument_id: str) -> Any:
    """The chart to look at."""
    instrument = _instrument(instrument_id)
    data = charts.svg(instrument, wish=_wish(instrument)).encode()
    return send_bytes(data, SVG, sha256(data).hexdigest(), f"{instrument_id}.svg", inline=True)


@blueprint.get("/charts/<instrument_id>.pdf")
def chart_print(instrument_id: str) -> Any:
    """The chart to print."""
    instrument = _instrument(instrument_id)
    data = charts.pdf(instrument, wish=_wish(instrument))
    return send_bytes(data, PDF, sha256(data).hexdigest(), f"{instrument_id} chart.pdf")


def _wish(instrument: Instrument) -> charts.Wish:
    """What the address asks of the chart; all of it where that is nothing."""
    asked = request.args
    wish = charts.Wish(asked.get("from", ""), asked.get("to", ""), bool(asked.get("cents")))
    try:
        charts.rows(instrument, wish)
    except BadOption as error:
        raise Problem(422, "bad-option", error.message) from None
    return wish


def _instrument(instrument_id: str) -> Instrument:
    try:
        return load(instrument_id)
    except BadOption as error:
        raise Problem(404, "no-such-instrument", error.message) from None
