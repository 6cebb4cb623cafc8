"""The passages of ``passages.toml``, read and compared with the planner."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from annotator.fingering import PlayedNote, Profile, ReadNote, plan
from annotator.instruments import load
from annotator.pitch import Pitch
from annotator.score.model import Ornament


@dataclass(frozen=True, slots=True)
class Passage:
    """A passage and what players do: ``fingering`` and ``flags`` hold one mark a note."""

    name: str
    half: str
    source: str
    notes: tuple[ReadNote, ...]
    fingering: tuple[str, ...]
    flags: tuple[str, ...]
    trill: str


def passages() -> tuple[Passage, ...]:
    """All passages, in the order of the file."""
    with (Path(__file__).parent / "passages.toml").open("rb") as file:
        return tuple(_passage(row) for row in tomllib.load(file)["passage"])


def differences(
    passage: Passage, instrument: str = "c-trumpet", profile: Profile | str = "orchestral"
) -> list[str]:
    """Where the plan is not what players do; empty when it agrees."""
    found = []
    played = plan(passage.notes, load(instrument), profile)
    rows = zip(passage.notes, played, passage.fingering, passage.flags, strict=True)
    for place, (note, how, fingering, flag) in enumerate(rows, 1):
        valves = how.fingering.valves if how.fingering else "none"
        if fingering != "." and valves not in fingering.split("/"):
            found.append(f"note {place}, {note.pitch.name}: {valves} for {fingering}")
        if flag != "." and (how.crossing is not None) != (flag == "!"):
            found.append(f"note {place}, {note.pitch.name}: {_told(how)}, expected {flag}")
        if passage.trill and (how.trill is None or how.trill.valves != passage.trill):
            found.append(f"note {place}: trills to {how.trill.valves if how.trill else 'nothing'}")
    return found


def _told(how: PlayedNote) -> str:
    return f"grade {how.crossing.grade} ({how.crossing.cost:.2f})" if how.crossing else "no flag"


def _passage(row: dict[str, object]) -> Passage:
    value, tempo = float(str(row["value"])), float(str(row["tempo"]))
    seconds = 60.0 * value / tempo
    notes = []
    for place, word in enumerate(str(row["notes"]).split()):
        name = word.lstrip("|").removeprefix("tr:")
        notes.append(
            ReadNote(
                Pitch.parse(name),
                place * seconds,
                seconds,
                slurred=bool(row["slurred"]) and place > 0,
                joined=not word.startswith("|"),
                ornaments=(Ornament("trill-mark"),) if "tr:" in word else (),
                fifths=int(str(row.get("fifths", 0))),
                quarters=value,
            )
        )
    return Passage(
        str(row["name"]),
        str(row["half"]),
        str(row["source"]),
        tuple(notes),
        tuple(str(row["fingering"]).split()),
        tuple(str(row["flags"]).split()),
        str(row.get("trill", "")),
    )
