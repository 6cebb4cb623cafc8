"""The ways to play one pitch: the usual chart, and the alternates beside it.

The chart of every method book follows from one rule: the least tubing that reaches the note on a
usable partial (checked against the chart, F♯3 to C6, in tests/reference/test_chart.py).
"""

from __future__ import annotations

from functools import lru_cache

from annotator.fingering.model import Fingering
from annotator.instruments import Instrument, tube
from annotator.instruments.model import OPEN_SEMITONE

_FUNDAMENTAL = OPEN_SEMITONE - 12
_FARTHEST = 60.0
"""Cents: an alternate farther off than 1-2-3 ever is (57.5) is no way to play the note. It only bars
combinations of four valves, whose lengths add up to far less than their semitones (computed)."""


@lru_cache(maxsize=8192)
def candidates(semitone: int, instrument: Instrument, asked: tuple[int, ...] = ()) -> tuple[Fingering, ...]:
    """Every way to play the written pitch ``semitone`` (C4 = 60), the usual one first, then by tubing.

    ``asked``: barred partials to use all the same. Alternates hopelessly out of tune are left out.
    Empty when the note is out of reach or out of the instrument's written range.
    """
    if not instrument.low.semitone <= semitone <= instrument.high.semitone:
        return ()
    found = []
    # Partials asked for come after the usable ones: they change no chart.
    for partials in (instrument.partials, tuple(n for n in asked if n in instrument.barred)):
        for combination in instrument.combinations:
            for n in partials:
                if _FUNDAMENTAL + tube.partial_semitones(n) - combination.semitones == semitone:
                    cents = tube.partial_deviation(n) + combination.cents
                    found.append(Fingering(combination.name, n, round(cents, 1) + 0.0))
    return (*found[:1], *(other for other in found[1:] if abs(other.cents) <= _FARTHEST))


def usual(semitone: int, instrument: Instrument) -> Fingering | None:
    """The fingering of the usual chart, or None when the note is out of reach."""
    found = candidates(semitone, instrument)
    return found[0] if found else None
