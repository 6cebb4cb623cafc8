"""Fingering charts, to look at and to print."""

from __future__ import annotations

from hashlib import sha256
from typing import Any

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


def _instrument(instrument_id: str) -> Instrument:
    try:
        return load(instrument_id)
    except BadOption as error:
        raise Problem(404, "no-such-instrument", error.message) from None
