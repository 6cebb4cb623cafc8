"""The values that go into the planner and come out of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

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


class ReadNote(NamedTuple):
    """A note as the player reads it, in real time. (A tuple, since one is made for every note.)

    ``pitch`` is in the written pitch of the instrument in hand. ``onset`` and ``duration`` in seconds.
    ``slurred``: reached under a slur. ``joined``: follows the note before it with no rest or breath
    between. ``fifths``: the key signature as read (sharps; flats negative), for the upper and lower
    notes of ornaments; accidentals of ``ornaments`` are as read too. ``quarters``: the duration in
    quarter notes, so that sentences can speak of sixteenth notes at a tempo (0: they give seconds).
    """

    pitch: Pitch
    onset: float
    duration: float
    slurred: bool = False
    joined: bool = True
    grace: bool = False
    ornaments: tuple[Ornament, ...] = ()
    fifths: int = 0
    quarters: float = 0.0


@dataclass(frozen=True, slots=True)
class Crossing:
    """An awkward move onto a note. ``grade`` 1 (mild) to 3; ``reasons`` in the words of the trade.

    ``sentence`` says it for a player; ``instead`` is what would ease it, or None.
    ``short`` is what is printed on the page. ``cost`` is the least cost of getting across, in the
    units of the cost table (1.0: a plain finger exchange at eight notes a second); ``gain`` is how
    much ``instead`` takes off it.
    """

    grade: int
    reasons: tuple[str, ...]
    sentence: str = ""
    instead: str | None = None
    short: str = ""
    cost: float = 0.0
    gain: float = 0.0


@dataclass(frozen=True, slots=True)
class Auxiliary:
    """The other note of an ornament: its pitch as read, how to finger it, and ``above`` or ``below``.

    ``fingering`` is None when the instrument does not reach it.
    """

    pitch: Pitch
    fingering: Fingering | None
    side: str


@dataclass(frozen=True, slots=True)
class PlayedNote:
    """What the player does. ``fingering`` is None when the note cannot be played (``why`` says so).

    ``why``: a sentence for any departure from the usual chart.
    ``slide``: what to do with the hand slides, in words (``third slide 16 mm``), empty when nothing;
    ``slide_mm``: the pull the note wants in all, 0.0 where none; ``first_mm`` and ``third_mm``: what each
    slide gives of it, within its travel; ``cents_left``: cents off after that.
    ``slide_trouble``: ``too far for this slide``, ``no time to move it``, or empty.
    ``auxiliaries``: the other notes of the note's ornament; ``trill`` is the fingering of the first.
    """

    fingering: Fingering | None
    alternates: tuple[Fingering, ...] = ()
    crossing: Crossing | None = None
    slide_mm: float = 0.0
    slide: str = ""
    why: str = ""
    first_mm: float = 0.0
    third_mm: float = 0.0
    cents_left: float = 0.0
    slide_trouble: str = ""
    auxiliaries: tuple[Auxiliary, ...] = ()

    @property
    def trill(self) -> Fingering | None:
        """The fingering of the other note of a trill (of any ornament's first auxiliary note)."""
        return self.auxiliaries[0].fingering if self.auxiliaries else None
