"""The acoustics of a brass tube with valves: cents, lengths, how far to pull a slide.

Sources: a tube with mouthpiece and bell sounds the whole-number multiples of a fundamental, so
partial n lies 1200·log2(n) cents above it (physics of the harmonic series). A valve of s semitones
alone in tune adds 2^(s/12) − 1 of the open length (equal temperament), and lengths, not semitones,
add up. The length that sounds a frequency f as partial 1 is c / 2f; c = 345 m/s, the speed of sound
in the warm air of a bore, gives the widely published 1.48 m of a B♭ trumpet. ISO 16: A4 = 440 Hz.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import log2

SPEED_OF_SOUND = 345.0
"""Metres per second."""
A4_HERTZ = 440.0
"""ISO 16."""
_A4_SEMITONE = 69


def partial_cents(n: int) -> float:
    """Cents of partial ``n`` above the fundamental: 1200·log2(n)."""
    return 1200.0 * log2(n)


def partial_semitones(n: int) -> int:
    """The equal-tempered semitones above the fundamental that partial ``n`` lies nearest to."""
    return round(partial_cents(n) / 100.0)


def partial_deviation(n: int) -> float:
    """Cents by which partial ``n`` is off equal temperament (positive: sharp)."""
    return partial_cents(n) - 100.0 * partial_semitones(n)


def valve_length(semitones: float) -> float:
    """Length added by a valve that alone lowers by ``semitones``, as a fraction of the open tube."""
    return float(2.0 ** (semitones / 12.0)) - 1.0


def lowering_cents(lengths: Sequence[float]) -> float:
    """Cents by which valves of these added ``lengths`` (fractions of the open tube) lower together."""
    return 1200.0 * log2(1.0 + sum(lengths))


def combination_deviation(lengths: Sequence[float], semitones: int) -> float:
    """Cents by which a combination meant to lower by ``semitones`` is off (positive: sharp)."""
    return 100.0 * semitones - lowering_cents(lengths)


def frequency(semitone: int, a4: float = A4_HERTZ) -> float:
    """Hertz of an equal-tempered sounding pitch; ``semitone`` as ``Pitch.semitone`` (C4 = 60)."""
    return float(a4 * 2.0 ** ((semitone - _A4_SEMITONE) / 12.0))


def tube_length(fundamental: float, speed: float = SPEED_OF_SOUND) -> float:
    """Metres of tube whose partial 1 sounds ``fundamental`` (Hz): speed / (2 · fundamental)."""
    return speed / (2.0 * fundamental)


def slide_pull(length: float, cents: float) -> float:
    """Millimetres to pull a slide so that a tube of ``length`` metres sounds ``cents`` lower.

    The tube must grow by length·(2^(cents/1200) − 1), and a slide pulled by x adds 2x.
    """
    return 1000.0 * length * (float(2.0 ** (cents / 1200.0)) - 1.0) / 2.0


def cents_lowered(length: float, pull: float) -> float:
    """Cents by which a pull of ``pull`` millimetres lowers a tube of ``length`` metres."""
    return 1200.0 * log2(1.0 + 2.0 * pull / (1000.0 * length))
