"""The passages of ``passages.toml`` and ``graded.toml``, read and compared with the planner.

    python -m tests.practice.passages

prints where the plan is not what players do, half by half.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from annotator.fingering import PlayedNote, Profile, ReadNote, plan
from annotator.instruments import load
from annotator.pitch import Pitch
from annotator.score.model import Ornament

TABLES = ("passages", "graded")
HALVES = ("tuned", "untouched")


@dataclass(frozen=True, slots=True)
class Passage:
    """A passage and what players do: ``fingering`` and ``flags`` hold one mark a note.

    ``same``: each pitch is to have one fingering throughout.
    """

    name: str
    table: str
    half: str
    source: str
    notes: tuple[ReadNote, ...]
    fingering: tuple[str, ...]
    flags: tuple[str, ...]
    trill: str
    same: bool


def passages(*tables: str) -> tuple[Passage, ...]:
    """The passages of these tables (all of them when none is named), in the order of the files."""
    found = []
    for table in tables or TABLES:
        with (Path(__file__).parent / f"{table}.toml").open("rb") as file:
            found += [_passage(table, row) for row in tomllib.load(file)["passage"]]
    return tuple(found)


def differences(
    passage: Passage, instrument: str = "c-trumpet", profile: Profile | str = "orchestral"
) -> list[str]:
    """Where the plan is not what players do; empty when it agrees."""
    found = []
    played = plan(passage.notes, load(instrument), profile)
    off = [how.fingering is not None and how.departure is not None for how in played]
    rows = zip(passage.notes, played, passage.fingering, passage.flags, strict=True)
    for place, (note, how, fingering, flag) in enumerate(rows):
        valves = how.fingering.valves if how.fingering else "none"
        if fingering != "." and valves not in fingering.split("/"):
            found.append(f"note {place + 1}, {note.pitch.name}: {valves} for {fingering}")
        if not _agrees(flag, how, off, place):
            found.append(f"note {place + 1}, {note.pitch.name}: {_told(how)}, expected {flag}")
        if passage.trill and note.ornaments:
            trill = how.trill.valves if how.trill else "nothing"
            if trill not in passage.trill.split("/"):
                found.append(f"note {place + 1}: trills to {trill} for {passage.trill}")
    ways = {(note.pitch, how.fingering) for note, how in zip(passage.notes, played, strict=True)}
    if passage.same and len(ways) > len({note.pitch for note in passage.notes}):
        found.append("two fingerings of one pitch")
    return found


def _agrees(flag: str, how: PlayedNote, off: list[bool], place: int) -> bool:
    grade = how.crossing.grade if how.crossing else 0
    if flag.startswith("?"):
        return grade > 0 or off[int(flag[1:]) - 1 if flag[1:] else place]
    wanted = {".": "0123", "-": "0", "!": "123"}.get(flag, flag)
    return str(grade) in wanted


def _told(how: PlayedNote) -> str:
    return f"grade {how.crossing.grade} ({how.crossing.cost:.2f})" if how.crossing else "no flag"


def _passage(table: str, row: dict[str, Any]) -> Passage:
    return Passage(
        row["name"],
        table,
        row["half"],
        row["source"],
        tuple(_notes(row)),
        tuple(row["fingering"].split()),
        tuple(row["flags"].split()),
        row.get("trill", ""),
        row.get("same", False),
    )


def _notes(row: dict[str, Any]) -> Iterator[ReadNote]:
    onset = 0.0
    for place, word in enumerate(row["notes"].split()):
        name, _, length = word.lstrip("|").removeprefix("tr:").removeprefix("trem:").partition(":")
        value = float(length or row["value"])
        seconds = 60.0 * value / row["tempo"]
        ornament = "trill-mark" if "tr:" in word else "tremolo-start" if "trem:" in word else ""
        yield ReadNote(
            Pitch.parse(name),
            onset,
            seconds,
            slurred=row["slurred"] and place > 0,
            joined=not word.startswith("|"),
            ornaments=(Ornament(ornament),) if ornament else (),
            fifths=row.get("fifths", 0),
            quarters=value,
        )
        onset += seconds


def main() -> None:
    """Print where the plan differs."""
    for table in TABLES:
        for half in HALVES:
            chosen = [passage for passage in passages(table) if passage.half == half]
            wrong = {passage.name: found for passage in chosen if (found := differences(passage))}
            print(f"{table}, {half}: {len(chosen) - len(wrong)} of {len(chosen)} agreed")
            for name, found in wrong.items():
                print(f"   {name}: {'; '.join(found)}")


if __name__ == "__main__":
    main()
