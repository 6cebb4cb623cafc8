"""What a stretch of a part costs on an instrument: crossings, intonation, range, height, kind of sound.

The weights are in ``costs.toml``, in the planner's awkwardness; here they are whole thousandths of it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from annotator.fingering import PlayedNote
from annotator.instruments import Instrument
from annotator.played import PlayedLine, PlayedPart
from annotator.reading import Segment
from annotator.score.model import SAME_PLACE

UNIT = 1000
_HEIGHTS = (12, 10, 9, 8)
# What headings call a family, as the reading has it, in the words of the instruments' files.
_FAMILIES = {"piccolo": "piccolo trumpet"}
_OCTAVE = 12


@dataclass(frozen=True, slots=True)
class Fitness:
    """How a stretch lies on an instrument. The costs in thousandths of an awkwardness, the rest counts.

    ``high``: notes on partial 9 and higher. ``asked``: the family the part asks for.
    """

    crossing: int = 0
    cents: int = 0
    range: int = 0
    octave: int = 0
    height: int = 0
    family: int = 0
    transposing: int = 0
    notes: int = 0
    flagged: int = 0
    out_of_reach: int = 0
    high: int = 0
    asked: str = ""

    @property
    def cost(self) -> int:
        """All of it, the preference for the usual instrument left out."""
        return (
            self.crossing
            + self.cents
            + self.range
            + self.octave
            + self.height
            + self.family
            + self.transposing
        )


def weight(key: str) -> int:
    """A weight of the table in thousandths."""
    return round(_table()[0][key] * UNIT)


def fitness(
    played: PlayedPart, line: PlayedLine, instrument: Instrument, start: float, end: float
) -> Fitness:
    """How the notes of ``line`` with an onset from ``start`` up to ``end`` (quarters) lie on the instrument
    that ``played`` was prepared for."""
    table, families = _table()
    inside = list(_inside(line, start, end))
    segments = _segments(played, line, start, end)
    out = sum(how.fingering is None for how in inside)
    flags = [how.crossing for how in inside if how.crossing is not None]
    left = [abs(how.cents_left) for how in inside if how.fingering is not None]
    partials = [how.fingering.partial for how in inside if how.fingering is not None]
    asked = next((family for each in segments if (family := _FAMILIES.get(each.family, each.family))), "")
    moved = any(_octave_moved(each, instrument) for each in segments)
    return Fitness(
        crossing=round(sum(flag.cost for flag in flags) * weight("crossing")),
        cents=round(sum(max(0.0, cents - table["cents.free"]) for cents in left) * weight("cents")),
        range=out * weight("range"),
        octave=weight("octave") if moved and inside else 0,
        height=sum(_height(partial) for partial in partials),
        family=round(families.get((asked or "trumpet", instrument.family), 0.0) * UNIT) if inside else 0,
        transposing=weight("transposing") if inside and any(each.differs for each in segments) else 0,
        notes=len(inside),
        flagged=len(flags),
        out_of_reach=out,
        high=sum(partial >= 9 for partial in partials),
        asked=asked,
    )


def _inside(line: PlayedLine, start: float, end: float) -> Iterator[PlayedNote]:
    for note, how in zip(line.line.notes, line.how, strict=True):
        if start - SAME_PLACE <= note.onset < end - SAME_PLACE:
            yield how


def _segments(played: PlayedPart, line: PlayedLine, start: float, end: float) -> list[Segment]:
    return [
        segment
        for segment in played.reading.of_line(line.line.number)
        if segment.from_position < end - SAME_PLACE and segment.to_position > start + SAME_PLACE
    ]


def _octave_moved(segment: Segment, instrument: Instrument) -> bool:
    """Whether the notes are read where they do not sound on this instrument."""
    plain = segment.sounding.chromatic - instrument.transposition.chromatic
    return abs(segment.read.chromatic - plain) >= _OCTAVE


def _height(partial: int) -> int:
    for least in _HEIGHTS:
        if partial >= least:
            return weight(f"height.{least}")
    return 0


@lru_cache(maxsize=1)
def _table() -> tuple[dict[str, float], dict[tuple[str, str], float]]:
    with (Path(__file__).parent / "costs.toml").open("rb") as file:
        table: dict[str, Any] = tomllib.load(file)
    costs = {row["key"]: float(row["value"]) for row in table["cost"]}
    families = {(row["asked"], row["played"]): float(row["value"]) for row in table["family"]}
    return costs, families
