"""The values that go into the planner and come out of it."""

from __future__ import annotations

from dataclasses import dataclass

from annotator.pitch import Pitch
from annotator.score.model import Ornament


@dataclass(frozen=True, slots=True)
class Fingering:
    """One way to play a pitch: ``valves`` as printed (``0``, ``1-2``), partial, and how far it is off.

    ``cents`` against equal temperament, before slides and lip; positive is sharp.
    """

    valves: str
    partial: int
    cents: float


@dataclass(frozen=True, slots=True)
class ReadNote:
    """A note as the player reads it, in real time.

    ``onset`` and ``duration`` in seconds. ``slurred``: reached under a slur. ``joined``: follows the
    note before it with no rest or breath between.
    """

    pitch: Pitch
    onset: float
    duration: float
    slurred: bool = False
    joined: bool = True
    grace: bool = False
    ornaments: tuple[Ornament, ...] = ()
    fifths: int = 0


@dataclass(frozen=True, slots=True)
class Crossing:
    """An awkward move onto a note. ``grade`` 1 (mild) to 3; ``reasons`` in the words of the trade.

    ``sentence`` says it for a player; ``instead`` is what would ease it, or None.
    ``short`` is what is printed on the page.
    """

    grade: int
    reasons: tuple[str, ...]
    sentence: str = ""
    instead: str | None = None
    short: str = ""


@dataclass(frozen=True, slots=True)
class PlayedNote:
    """What the player does. ``fingering`` is None when the note cannot be played (``why`` says so).

    ``slide_mm``: how far a hand slide wants pulling, 0.0 where none. ``why``: a sentence for any
    departure from the usual chart.
    """

    fingering: Fingering | None
    alternates: tuple[Fingering, ...] = ()
    crossing: Crossing | None = None
    slide_mm: float = 0.0
    slide: str = ""
    why: str = ""
