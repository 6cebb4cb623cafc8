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
    """The marks of one note; an empty string is nothing to show.

    ``flag``: the awkward crossing that ends on ``note``.
    """

    note: Note
    fingering: str = ""
    alternate: str = ""
    partial: str = ""
    flag: str = ""
    intonation: str = ""


def line_marks(
    line: Line, pitches: Sequence[Pitch], played: Sequence[PlayedNote], options: Options
) -> list[NoteMark]:
    """The marks of ``line``, whose notes are read as ``pitches`` and ``played``; notes with none left out."""
    wanted = set(options.mark)
    seen: set[Pitch] = set()
    marks: list[NoteMark] = []
    last = len(played) - 1
    for index, (note, pitch, how) in enumerate(zip(line.notes, pitches, played, strict=True)):
        crossing = how.crossing
        flag = ""
        if crossing is not None and "crossing" in wanted:
            flag = f"{FLAG_STROKES[crossing.grade]} {crossing.short}".strip()
        fingering = how.fingering
        shown = fingering is not None and (
            options.show == "every"
            or (options.show == "first" and pitch not in seen)
            or (
                options.show == "awkward"
                and (crossing is not None or (index < last and played[index + 1].crossing is not None))
            )
        )
        seen.add(pitch)
        if not shown or fingering is None:
            if flag:
                marks.append(NoteMark(note, flag=flag))
            continue
        marks.append(
            NoteMark(
                note,
                # A fingering printed in the part stays, and is not doubled.
                fingering.valves if "fingering" in wanted and not note.printed else "",
                _alternate(how) if "fingering" in wanted and not note.printed else "",
                str(fingering.partial) if "partial" in wanted else "",
                flag,
                _intonation(how) if "intonation" in wanted else "",
            )
        )
    return marks


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
