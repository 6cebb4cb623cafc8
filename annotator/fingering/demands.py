"""What a line asks for besides crossings: tongue, breath, a soft high entry, range, mute, pedal notes.

Each demand is a row of ``demands.toml`` with its threshold, its word for the page and the sentence said.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from annotator.fingering.model import ReadNote
from annotator.fingering.sentences import name_of
from annotator.instruments import Instrument
from annotator.pitch import Pitch

_G5 = 79
_GAP = 0.02
"""Seconds: less between two notes is how a program plays them, no rest."""


@dataclass(frozen=True, slots=True)
class DemandRow:
    """A kind of demand. ``threshold`` and ``least`` in ``unit``; ``word`` for the page, ``says``
    for a sentence (``{amount}``, ``{pitch}``, ``{name}``)."""

    kind: str
    threshold: float
    least: float
    unit: str
    word: str
    meaning: str
    says: str
    source: str


@dataclass(frozen=True, slots=True)
class Demand:
    """A demand on the notes ``first`` to ``last`` of a line. ``amount`` in the row's unit."""

    kind: str
    first: int
    last: int
    amount: float
    pitch: Pitch | None = None
    name: str = ""

    @property
    def row(self) -> DemandRow:
        return rows()[self.kind]

    @property
    def sentence(self) -> str:
        pitch = name_of(self.pitch) if self.pitch is not None else ""
        return self.row.says.format(amount=self.amount, pitch=pitch, name=self.name)


@lru_cache(maxsize=1)
def rows() -> dict[str, DemandRow]:
    """The table, by kind, in the order of the file."""
    with Path(__file__).with_name("demands.toml").open("rb") as file:
        table = tomllib.load(file)["demand"]
    return {row["kind"]: DemandRow(**row) for row in table}


def demands(
    notes: Sequence[ReadNote], instrument: Instrument, level: Callable[[int], int | None]
) -> tuple[Demand, ...]:
    """The demands of a line, in order. ``level``: the dynamic level at the note of an index (−1: p)."""
    found = [
        *_tonguing(notes),
        *_breath(notes),
        *_soft_entries(notes, level),
        *_heights(notes, instrument),
        *_pedals(notes, instrument),
    ]
    return tuple(sorted(found, key=lambda demand: (demand.first, demand.kind)))


def _tonguing(notes: Sequence[ReadNote]) -> Iterator[Demand]:
    """Repeated tongued notes faster than a single tongue goes."""
    row = rows()["double-tongue"]
    first = 0
    for index in range(1, len(notes) + 1):
        if index < len(notes):
            before, note = notes[index - 1], notes[index]
            seconds = note.onset - before.onset
            same = before.pitch.semitone == note.pitch.semitone
            if same and note.joined and not note.slurred and 0 < seconds <= 1 / row.threshold:
                continue
        if index - first >= row.least:
            each = (notes[index - 1].onset - notes[first].onset) / (index - 1 - first)
            thirds = abs(notes[first].quarters * 3 % 0.5) < _GAP or abs(notes[first].quarters * 6 % 1) < _GAP
            triple = thirds and abs(notes[first].quarters * 4 % 1) > _GAP
            kind = "triple-tongue" if triple else "double-tongue"
            yield Demand(kind, first, index - 1, round(1 / each, 1), notes[first].pitch)
        first = index


def _breath(notes: Sequence[ReadNote]) -> Iterator[Demand]:
    """Stretches longer than one breath lasts without a place for it: a rest, a breath mark, or the end of a
    longer note that is not slurred on."""
    row = rows()["breath"]
    first = 0
    for index in range(1, len(notes) + 1):
        before = notes[index - 1]
        goes_on = index < len(notes) and notes[index].joined
        if goes_on and (notes[index].slurred or before.duration < row.least):
            continue
        seconds = before.onset + before.duration - notes[first].onset
        if seconds >= row.threshold and index - first > 1:
            yield Demand("breath", first, index - 1, round(seconds, 1))
        first = index


def _soft_entries(notes: Sequence[ReadNote], level: Callable[[int], int | None]) -> Iterator[Demand]:
    """Soft entries above G5 after a rest."""
    row = rows()["soft-entry"]
    for index, note in enumerate(notes):
        if note.pitch.semitone <= _G5 or note.grace:
            continue
        if index:
            end = notes[index - 1].onset + notes[index - 1].duration
            if note.joined or note.onset - end < row.threshold:
                continue
        loud = level(index)
        if loud is not None and loud <= row.least:
            yield Demand("soft-entry", index, index, float(loud), note.pitch)


def _heights(notes: Sequence[ReadNote], instrument: Instrument) -> Iterator[Demand]:
    """Notes above what most players own: of each phrase the highest, where it goes higher than any before."""
    top = instrument.amateur.semitone
    found: Demand | None = None
    for index, note in enumerate(notes):
        if not note.joined and found is not None:
            yield found
            found = None
        if note.pitch.semitone <= top or note.grace:
            continue
        top = note.pitch.semitone
        beyond = top > instrument.professional.semitone
        owned = instrument.professional if beyond else instrument.amateur
        found = Demand("beyond" if beyond else "top", index, index, 1.0, note.pitch, name_of(owned))
    if found is not None:
        yield found


def _pedals(notes: Sequence[ReadNote], instrument: Instrument) -> Iterator[Demand]:
    """Notes below the lowest the valves give."""
    for index, note in enumerate(notes):
        if note.pitch.semitone < instrument.low.semitone:
            yield Demand("pedal", index, index, 1.0, note.pitch, name_of(instrument.low))
