"""The natural trumpet: which partial of the crook a written note is."""

from __future__ import annotations

from annotator.pitch import Pitch

# Written pitches of the natural trumpet's partials 2 to 16, in semitones (C4 = 60): partial 4 is written C4,
# partial 8 C5. 7 and 14 are taken as B♭, 11 as F or F♯ and 13 as A, bent into tune by the player
# (common practice, no source).
_PARTIALS = {
    48: 2,
    55: 3,
    60: 4,
    64: 5,
    67: 6,
    70: 7,
    72: 8,
    74: 9,
    76: 10,
    77: 11,
    78: 11,
    79: 12,
    81: 13,
    82: 14,
    83: 15,
    84: 16,
}


def natural_partial(written: Pitch | int) -> int | None:
    """The partial (2 to 16) that ``written`` is on a natural trumpet with its part's crook, or None.

    ``written`` is the pitch as it stands in the part, or its semitone; parts for crooks are
    written in C whatever the crook, so the crook itself does not matter here.
    """
    return _PARTIALS.get(written if isinstance(written, int) else written.semitone)
