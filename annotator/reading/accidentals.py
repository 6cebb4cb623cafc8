"""Which accidentals are printed: the engraver's rules, over the notes of one staff in order.

An accidental holds to the barline, for its own octave. A note tied on needs none; after it the bar
is as if none had been printed. A courtesy accidental (``cautionary``) is printed where nothing demands
one and a player would hesitate: the first time a staff place comes back unaltered after the bar before
altered it (or another octave of it), and where another octave was altered earlier in the same bar.
Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from annotator.keys import alters_of_key
from annotator.pitch import STEP_INDEX, Pitch


@dataclass(frozen=True, slots=True)
class Accidental:
    """An accidental to print. ``name`` is MusicXML's (``sharp``, ``flat-flat``)."""

    name: str
    cautionary: bool = False


_NAMES = {
    -3: "triple-flat",
    -2: "flat-flat",
    -1: "flat",
    0: "natural",
    1: "sharp",
    2: "double-sharp",
    3: "triple-sharp",
}
_PRINTED = {alter: Accidental(name) for alter, name in _NAMES.items()}
_COURTESY = {alter: Accidental(name, cautionary=True) for alter, name in _NAMES.items()}


@dataclass(slots=True)
class Staff:
    """What the accidentals so far have done to a staff: the memory between bars.

    ``bar``: staff place (``Pitch.diatonic``) to alteration, printed in this bar; ``doubtful``: step
    (0–6) to the alteration last heard, where the bar before or another octave left it other than
    a reader would expect; ``held``: the same for what a tie held over into this bar.
    """

    bar: dict[int, int] = field(default_factory=dict)
    doubtful: dict[int, int] = field(default_factory=dict)
    held: dict[int, int] = field(default_factory=dict)


def accidentals(
    notes: Iterable[tuple[Pitch, bool]], fifths: int, staff: Staff | None = None, *, new_bar: bool = True
) -> list[Accidental | None]:
    """The accidentals of the notes of one bar, None where none is printed.

    ``notes``: each note as it stands, and whether a tie from an earlier note ends on it; in the order of
    their onsets, all voices of the staff together. ``fifths``: the key signature in force (0 where the part
    has none). ``staff`` carries what the bars before left behind and is updated; ``new_bar`` False
    goes on in the same bar, where a key changes in its middle.
    """
    if staff is None:
        staff = Staff()
    bar, doubtful, held = staff.bar, staff.doubtful, staff.held
    key = alters_of_key(fifths)
    if new_bar:
        staff.doubtful = doubtful = held
        for place, alter in bar.items():
            if alter != key[place % 7]:
                doubtful[place % 7] = alter
        staff.held = held = {}
        bar.clear()
    found: list[Accidental | None] = []
    add = found.append
    index = STEP_INDEX
    for pitch, tied in notes:
        step = index[pitch.step]
        alter = pitch.alter
        place = pitch.octave * 7 + step
        if tied:
            # Holds over from the bar before; what follows at this step is no longer self-evident.
            if place not in bar and alter != key[step]:
                doubtful[step] = held[step] = alter
            add(None)
            continue
        in_force = bar.get(place)
        if in_force is None:
            in_force = key[step]
            if alter == in_force:
                if doubtful and step in doubtful and doubtful.pop(step) != alter:
                    add(_COURTESY[alter])
                    bar[place] = alter
                    held.pop(step, None)
                    continue
                add(None)
                continue
        elif alter == in_force:
            add(None)
            continue
        add(_PRINTED[alter])
        bar[place] = alter
        doubtful[step] = alter
    return found
