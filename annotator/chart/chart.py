"""The fingering chart of an instrument: rows of data, plain text, a picture, a PDF.

    >>> from annotator.instruments import load
    >>> rows(load("c-trumpet"))[0]["fingering"]
    '1-2-3'

Every row is one semitone of the written range, from the lowest up. The fingerings are those of
``annotator.fingering``: the usual one (least tubing on a usable partial), then the alternates.
"""

from __future__ import annotations

from typing import Any

from annotator.engraving.drawing import signs
from annotator.engraving.paper import A4, Paper
from annotator.fingering import candidates
from annotator.instruments import Instrument
from annotator.pitch import spelled, transpose

# An alternate further off than this, in cents, is no use to a player: left out of the text.
NEAR = 60.0
SCHEMA = "crookline.chart/1"


def rows(instrument: Instrument) -> list[dict[str, Any]]:
    """One row per semitone of the written range.

    Keys: ``written``, ``sounding`` (pitch names), ``fingering``, ``partial``, ``cents`` (off equal
    temperament, positive sharp) and ``alternates``, a list of the same three. A pitch no valves reach
    has None for the three.
    """
    found = []
    for semitone in range(instrument.low.semitone, instrument.high.semitone + 1):
        pitch = spelled(semitone)
        ways = [
            {"fingering": way.valves, "partial": way.partial, "cents": way.cents}
            for way in candidates(semitone, instrument)
        ]
        usual = ways[0] if ways else {"fingering": None, "partial": None, "cents": None}
        found.append(
            {
                "written": pitch.name,
                "sounding": transpose(pitch, instrument.transposition).name,
                **usual,
                "alternates": ways[1:],
            }
        )
    return found


def document(instrument: Instrument) -> dict[str, Any]:
    """The chart as one JSON document: the instrument in short, and ``rows``."""
    return {
        "schema": SCHEMA,
        "instrument": instrument.id,
        "name": instrument.name,
        "valves": instrument.valve_count,
        "rows": rows(instrument),
    }


def text(instrument: Instrument, *, alternates: int = 2) -> str:
    """The chart in columns for a terminal, under 80 characters wide. Ends with a line end."""
    lines = [
        f"Fingering chart: {instrument.name}",
        "",
        f"{'written':<8} {'sounds':<7} {'valves':<8} {'partial':>7} {'cents':>6}  also",
    ]
    for row in rows(instrument):
        if row["fingering"] is None:
            lines.append(f"{signs(row['written']):<8} {signs(row['sounding']):<7} out of reach")
            continue
        also = ", ".join(
            f"{way['fingering']} on {way['partial']} {way['cents']:+.0f}"
            for way in [way for way in row["alternates"] if abs(way["cents"]) <= NEAR][:alternates]
        )
        lines.append(
            f"{signs(row['written']):<8} {signs(row['sounding']):<7} {row['fingering']:<8} "
            f"{row['partial']:>7} {row['cents']:>+6.0f}  {also}".rstrip()
        )
    lines += ["", "0 is open. Cents against equal temperament before slides and lip; + is sharp."]
    return "\n".join(lines) + "\n"


def svg(instrument: Instrument, paper: Paper = A4) -> str:
    """The chart as one picture as wide as the paper and as high as it takes, an SVG document."""
    from annotator.chart import picture as chart_picture  # noqa: PLC0415 - reads glyphs of the engraver

    return chart_picture.picture(instrument, rows(instrument), paper)


def pdf(instrument: Instrument, paper: Paper = A4) -> bytes:
    """The chart as a PDF, as many pages as it takes, vector, fonts embedded."""
    from annotator.chart import picture as chart_picture  # noqa: PLC0415 - see above
    from annotator.engraving.printing import to_pdf  # noqa: PLC0415 - typst is for print only

    pages = chart_picture.pages(instrument, rows(instrument), paper)
    heights = [paper.height] * len(pages)
    return to_pdf(pages, paper.width, heights, title=f"Fingering chart: {instrument.name}")
