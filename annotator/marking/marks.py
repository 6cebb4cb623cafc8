"""What to show on the page, of all that is known about each note."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from annotator.fingering.model import PlayedNote
from annotator.options import Options
from annotator.pitch import Pitch
from annotator.score.model import Line, Note

FLAG_STROKES = {1: "!", 2: "!!", 3: "!!!"}
"""A crossing's grade on the page: readable in black and white, and no sign of music notation."""

WORTH_SAYING_CENTS = 8.0
"""Cents off that the intonation line prints; what is less passes (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class NoteMark:
    """The marks of a note; an empty string is nothing to show.

    ``flag``: the awkward crossing that ends on the note.
    """

    fingering: str = ""
    alternate: str = ""
    partial: str = ""
    flag: str = ""
    intonation: str = ""


NOTHING = NoteMark()


def line_marks(
    line: Line, pitches: Sequence[Pitch], played: Sequence[PlayedNote], options: Options
) -> list[tuple[Note, NoteMark]]:
    """The notes of ``line``, read as ``pitches`` and ``played``, that get marks, and the marks.

    Notes played alike share one mark.
    """
    shown = _shown(pitches, played, options.show)
    made: dict[tuple[int, bool, bool], NoteMark] = {}
    marks: list[tuple[Note, NoteMark]] = []
    for note, how, show in zip(line.notes, played, shown, strict=True):
        key = (id(how), show, bool(note.printed))
        mark = made.get(key)
        if mark is None:
            mark = made[key] = _mark(how, show, bool(note.printed), options.mark)
        if mark is not NOTHING:
            marks.append((note, mark))
    return marks


def _shown(pitches: Sequence[Pitch], played: Sequence[PlayedNote], show: str) -> list[bool]:
    """On which notes the fingering (and what goes with it) is printed."""
    if show == "every":
        return [True] * len(played)
    if show == "first":
        first = {pitch: place for place, pitch in reversed(list(enumerate(pitches)))}
        return [first[pitch] == place for place, pitch in enumerate(pitches)]
    awkward = [how.crossing is not None for how in played]
    return [here or next_one for here, next_one in zip(awkward, [*awkward[1:], False], strict=True)]


def _mark(how: PlayedNote, show: bool, printed: bool, wanted: Sequence[str]) -> NoteMark:
    crossing, fingering = how.crossing, how.fingering
    flag = ""
    if crossing is not None and "crossing" in wanted:
        flag = f"{FLAG_STROKES[crossing.grade]} {crossing.short}".strip()
    if fingering is None or not show:
        return NoteMark(flag=flag) if flag else NOTHING
    # A fingering printed in the part stays, and is not doubled.
    valves = "fingering" in wanted and not printed
    mark = NoteMark(
        fingering.valves if valves else "",
        _alternate(how) if valves else "",
        str(fingering.partial) if "partial" in wanted else "",
        flag,
        _intonation(how) if "intonation" in wanted else "",
    )
    return NOTHING if mark == NOTHING else mark


def _alternate(how: PlayedNote) -> str:
    """The other fingering a trill moves to, or the one that would ease the crossing."""
    if how.trill is not None and how.fingering is not None and how.trill.valves != how.fingering.valves:
        return how.trill.valves
    return ""


def _intonation(how: PlayedNote) -> str:
    """Millimetres for the slides, ``!`` when too far or too quick; else cents left, if worth it."""
    pulls = [f"{name} {mm:.0f}" for name, mm in (("1st", how.first_mm), ("3rd", how.third_mm)) if mm >= 1]
    if pulls:
        return " ".join(pulls) + ("!" if how.slide_trouble else "")
    return f"{how.cents_left:+.0f}¢" if abs(how.cents_left) >= WORTH_SAYING_CENTS else ""
