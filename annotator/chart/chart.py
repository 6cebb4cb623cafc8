"""The fingering chart of an instrument: rows of data, plain text, a picture, a PDF.

    >>> from annotator.instruments import load
    >>> rows(load("c-trumpet"))[0]["fingering"]
    '1-2-3'

Every row is one semitone of the written range, from the lowest up. The fingerings are those of
``annotator.fingering``: the usual one (least tubing on a usable partial), then the alternates.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from annotator.engraving.drawing import signs
from annotator.engraving.paper import A4, Paper
from annotator.errors import BadOption
from annotator.fingering import candidates
from annotator.instruments import Instrument
from annotator.pitch import Interval, Pitch, spelled, transpose

# An alternate further off than this, in cents, is no use to a player: left out of the text.
NEAR = 60.0
SCHEMA = "crookline.chart/1"


@dataclass(frozen=True, slots=True)
class Wish:
    """What of a chart is wanted: from which written pitch to which ("": the instrument's own lowest and
    highest), and whether cents are shown."""

    low: str = ""
    high: str = ""
    cents: bool = False


ALL = Wish()


def rows(instrument: Instrument, wish: Wish = ALL) -> list[dict[str, Any]]:
    """One row per semitone of the written range, or of what is wished of it.

    Keys: ``written``, ``also_written`` (the other spelling of a black key, else None), ``sounding`` (pitch
    names), ``fingering``, ``partial``, ``cents`` (off equal temperament, positive sharp) and ``alternates``,
    a list of the same three. A pitch no valves reach has None for the three. Raises BadOption.
    """
    found = []
    low, high = _range(instrument, wish)
    for semitone in range(low, high + 1):
        pitch = spelled(semitone)
        ways = [
            {"fingering": way.valves, "partial": way.partial, "cents": way.cents}
            for way in candidates(semitone, instrument)
        ]
        usual = ways[0] if ways else {"fingering": None, "partial": None, "cents": None}
        found.append(
            {
                "written": pitch.name,
                "also_written": _respelled(pitch),
                "sounding": transpose(pitch, instrument.transposition).name,
                **usual,
                "alternates": ways[1:],
            }
        )
    return found


def _respelled(pitch: Pitch) -> str | None:
    """The other name of a black key: a part has now the one, now the other."""
    if not pitch.alter:
        return None
    return transpose(pitch, Interval(1, 0) if pitch.alter > 0 else Interval(-1, 0)).name


def _range(instrument: Instrument, wish: Wish) -> tuple[int, int]:
    """The written semitones wished, inside the instrument's range. Raises BadOption."""
    ends = []
    for field, name, own in (("from", wish.low, instrument.low), ("to", wish.high, instrument.high)):
        try:
            ends.append(Pitch.parse(name).semitone if name else own.semitone)
        except ValueError:
            raise BadOption(f"{name!r} is no pitch; write it as F#3 or Bb4", field=field) from None
    low, high = max(ends[0], instrument.low.semitone), min(ends[1], instrument.high.semitone)
    if low > high:
        written = f"{instrument.low.name} to {instrument.high.name}"
        raise BadOption(f"nothing is left between these ends; it is written {written}", field="from")
    return low, high


def document(instrument: Instrument, wish: Wish = ALL) -> dict[str, Any]:
    """The chart as one JSON document: the instrument in short, and ``rows`` (with cents always)."""
    return {
        "schema": SCHEMA,
        "instrument": instrument.id,
        "name": instrument.name,
        "valves": instrument.valve_count,
        "rows": rows(instrument, wish),
    }


def text(instrument: Instrument, wish: Wish = ALL, *, alternates: int = 2) -> str:
    """The chart in columns for a terminal, under 80 characters wide. Ends with a line end."""
    cents = f" {'cents':>6}" if wish.cents else ""
    lines = [
        f"Fingering chart: {instrument.name}",
        "",
        f"{'written':<9} {'sounds':<7} {'valves':<8} {'partial':>7}{cents}  also",
    ]
    for row in rows(instrument, wish):
        written = signs(" ".join(filter(None, (row["written"], row["also_written"]))))
        start = f"{written:<9} {signs(row['sounding']):<7}"
        if row["fingering"] is None:
            lines.append(f"{start} out of reach")
            continue
        also = ", ".join(
            f"{way['fingering']} on {way['partial']}" + (f" {way['cents']:+.0f}" if wish.cents else "")
            for way in near(row)[:alternates]
        )
        off = f" {row['cents']:>+6.0f}" if wish.cents else ""
        lines.append(f"{start} {row['fingering']:<8} {row['partial']:>7}{off}  {also}".rstrip())
    said = " Cents against equal temperament before slides and lip; + is sharp." if wish.cents else ""
    lines += ["", f"0 = open.{said}"]
    return "\n".join(lines) + "\n"


def near(row: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The alternates of a row that are of use."""
    return [way for way in row["alternates"] if abs(way["cents"]) <= NEAR]


def svg(instrument: Instrument, paper: Paper = A4, wish: Wish = ALL) -> str:
    """The chart as one picture as wide as the paper and as high as it takes, an SVG document."""
    from annotator.chart import picture as chart_picture  # noqa: PLC0415 - reads glyphs of the engraver

    return chart_picture.picture(instrument, rows(instrument, wish), paper, cents=wish.cents)


def pdf(instrument: Instrument, paper: Paper = A4, wish: Wish = ALL) -> bytes:
    """The chart as a PDF, as many pages as it takes, vector, fonts embedded."""
    from annotator.chart import picture as chart_picture  # noqa: PLC0415 - see above
    from annotator.engraving.printing import to_pdf  # noqa: PLC0415 - typst is for print only

    pages = chart_picture.pages(instrument, rows(instrument, wish), paper, cents=wish.cents)
    heights = [paper.height] * len(pages)
    return to_pdf(pages, paper.width, heights, title=f"Fingering chart: {instrument.name}")
