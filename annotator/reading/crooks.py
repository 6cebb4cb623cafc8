"""The crooks: the table, and finding one by id, by interval or by the note it is named after."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from annotator.pitch import OCTAVE, Interval


@dataclass(frozen=True, slots=True)
class Crook:
    """A crook, or a valved instrument's key: the same thing to the reader.

    ``sounding`` is sounding minus written (diatonic steps, semitones). ``register`` is ``""``,
    ``"high"`` or ``"bass"`` and tells crooks of one name apart. ``infer``: inference looks at it.
    """

    id: str
    name: str
    step: str
    alter: int
    register: str
    sounding: Interval
    infer: bool = False


def _load() -> tuple[Crook, ...]:
    table = tomllib.loads(Path(__file__).with_name("crooks.toml").read_text("utf-8"))
    return tuple(
        Crook(
            id=row["id"],
            name=row["name"],
            step=row["step"],
            alter=row["alter"],
            register=row["register"],
            sounding=Interval(*row["sounding"]),
            infer=row["infer"],
        )
        for row in table["crook"]
    )


CROOKS: tuple[Crook, ...] = _load()
BY_ID: dict[str, Crook] = {crook.id: crook for crook in CROOKS}
_BY_INTERVAL = {crook.sounding: crook for crook in reversed(CROOKS)}
_BY_NOTE = {(crook.step, crook.alter, crook.register): crook for crook in CROOKS}
C = BY_ID["C"]


def crook_named_after(step: str, alter: int, register: str = "") -> Crook | None:
    """The crook named after a note (``"E", -1``); where the register has none, the usual one."""
    return _BY_NOTE.get((step, alter, register)) or _BY_NOTE.get((step, alter, ""))


@lru_cache(maxsize=256)
def crook_for(sounding: Interval) -> Crook:
    """The crook with this interval; octave displacements and strange intervals get a name too.

    An interval that is a crook plus octaves becomes that crook "an octave lower"; one that is no
    crook at all is called by its numbers, and still read right.
    """
    if sounding in _BY_INTERVAL:
        return _BY_INTERVAL[sounding]
    for octaves in (-1, 1, -2, 2, -3, 3):
        shift = Interval(OCTAVE.diatonic * octaves, OCTAVE.chromatic * octaves)
        crook = _BY_INTERVAL.get(sounding - shift)
        if crook is not None and crook.register == "":
            count = {1: "an octave", 2: "two octaves", 3: "three octaves"}[abs(octaves)]
            words = f"{count} {'lower' if octaves < 0 else 'higher'}"
            return Crook(
                f"{crook.id} {words}", f"{crook.name} {words}", crook.step, crook.alter, "octave", sounding
            )
    name = f"({sounding.diatonic:+d} steps, {sounding.chromatic:+d} semitones)"
    return Crook(name, name, "", 0, "", sounding)


def same_but_octave(one: Interval, other: Interval) -> bool:
    """True when the two intervals differ by whole octaves only."""
    apart = one - other
    return apart.diatonic % OCTAVE.diatonic == 0 and (
        apart.chromatic * OCTAVE.diatonic == apart.diatonic * OCTAVE.chromatic
    )
