"""How long a change of crook, instrument or mute takes: the table in ``change_times.toml``."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

PHRASE, CROOK, INSTRUMENT, MUTE_IN, MUTE_OUT = "phrase", "crook", "instrument", "mute-in", "mute-out"


@dataclass(frozen=True, slots=True)
class Need:
    """A row of the table: ``seconds`` of rest that a change of this ``kind`` wants, and ``why``."""

    kind: str
    seconds: float
    unit: str
    why: str


@lru_cache(maxsize=1)
def needs() -> dict[str, Need]:
    """The table by kind."""
    with Path(__file__).with_name("change_times.toml").open("rb") as file:
        rows = tomllib.load(file)["change"]
    return {row["kind"]: Need(row["kind"], float(row["seconds"]), row["unit"], row["why"]) for row in rows}
