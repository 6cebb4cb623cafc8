"""A trumpet, as the rest of the program sees it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from annotator.instruments import tube
from annotator.pitch import Interval, Pitch

OPEN_SEMITONE = 60
"""Written C4: the open tube's partial 2 on every instrument here."""
NUMBER = "{number}"
"""Where the player's number goes in a heading."""
FUNDAMENTAL = Pitch("C", 0, 3)
"""The written pitch of partial 1 of the open tube (the pedal)."""


@dataclass(frozen=True, slots=True)
class Combination:
    """Valves pressed together. ``name`` as printed (``0``, ``1-2``); ``semitones`` it is meant to lower by.

    ``cents`` is how far it is off that (positive: sharp); ``length`` the added tube as a fraction
    of the open one; ``mask`` has bit 0 for the first valve.
    """

    name: str
    mask: int
    semitones: int
    cents: float
    length: float


@dataclass(frozen=True, slots=True)
class Instrument:
    """A trumpet. ``id`` is what options call it, ``transposition`` sounding minus written.

    ``semitones``: what each valve lowers by; ``lengths``: what it adds, as fractions of the open
    tube. ``partials`` are used freely, ``barred`` only on request. ``low`` and ``high`` bound the
    written range. ``preferred``: the combinations that come before others lowering alike, as printed.
    ``owned``: the highest notes that amateurs and professionals usually have, if the file says.
    ``held``: written semitones and the alternate that many players take for them when held.
    ``first_slide`` and ``third_slide``: travel in millimetres (0: none).
    ``sound`` is MusicXML's standard sound, ``words`` what headings call the family. ``heading`` and
    ``short`` head a part written out for it, with ``{number}`` where the player's number goes.
    """

    id: str
    name: str
    key: str
    family: str
    words: tuple[str, ...]
    sound: str
    transposition: Interval
    semitones: tuple[int, ...]
    lengths: tuple[float, ...]
    partials: tuple[int, ...]
    barred: tuple[int, ...]
    low: Pitch
    high: Pitch
    first_slide: float
    third_slide: float
    heading: str = ""
    short: str = ""
    preferred: tuple[str, ...] = ()
    held: tuple[tuple[int, str], ...] = ()
    owned: tuple[Pitch, Pitch] | None = None

    @property
    def amateur(self) -> Pitch:
        """The highest note that amateurs usually have; the instrument's own where the file does not say."""
        return self.owned[0] if self.owned else self.high

    @property
    def professional(self) -> Pitch:
        """The highest note that professionals usually have."""
        return self.owned[1] if self.owned else self.high

    @property
    def valve_count(self) -> int:
        return len(self.semitones)

    def headed(self, number: str = "") -> tuple[str, str]:
        """What heads a part for player ``number``, in full and short ("Trumpet 1 in C", "Tpt. 1 in C")."""
        full = self.heading or f"{self.name} {NUMBER}"
        return _numbered(full, number), _numbered(self.short or full, number)

    @property
    def length(self) -> float:
        """Metres of open tube, from the frequency of partial 1 (see ``tube.tube_length``)."""
        sounding = FUNDAMENTAL.semitone + self.transposition.chromatic
        return tube.tube_length(tube.frequency(sounding))

    @property
    def combinations(self) -> tuple[Combination, ...]:
        """Every combination of valves, the one the chart prefers first.

        Least tubing first. Of those that lower alike the ``preferred`` come first (4 for 1-3 on a
        piccolo), then the one whose highest valve is the lowest (1-2 before 3): common practice, no source.
        """
        return _combinations(self.semitones, self.lengths, self.preferred)


def _numbered(words: str, number: str) -> str:
    return " ".join(words.replace(NUMBER, number).split())


def combination_name(mask: int) -> str:
    """Valves as printed: ``0``, ``1-2``; bit 0 of ``mask`` is the first valve."""
    return "-".join(str(valve + 1) for valve in range(mask.bit_length()) if mask >> valve & 1) or "0"


@lru_cache(maxsize=64)
def _combinations(
    semitones: tuple[int, ...], lengths: tuple[float, ...], preferred: tuple[str, ...]
) -> tuple[Combination, ...]:
    found = []
    for mask in range(1 << len(semitones)):
        pressed = [valve for valve in range(len(semitones)) if mask >> valve & 1]
        lowered = sum(semitones[valve] for valve in pressed)
        added = [lengths[valve] for valve in pressed]
        cents = round(tube.combination_deviation(added, lowered), 6) + 0.0  # no -0.0 from rounding
        found.append(Combination(combination_name(mask), mask, lowered, cents, sum(added)))
    rank = {name: place for place, name in enumerate(preferred)}
    found.sort(key=lambda item: (item.semitones, rank.get(item.name, len(rank)), item.mask))
    return tuple(found)
