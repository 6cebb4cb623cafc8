"""The marks: a row for everything that can be put on the page."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Element(Enum):
    """What stands in the file for a mark."""

    FINGERING = "a <fingering> among the note's <technical>"
    LYRIC = "a syllable in a lyric line of its own"
    WORDS = "a <direction> with <words> before the note"
    PART = "a part of its own under the part"


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark.

    ``name``: in options, reports and the file. ``label``: on the page. ``about``: what one sees, as the end
    of a sentence. ``legend``: what the sheet explains, as (sign, meaning); the sign "" needs none.
    ``report``: the field of a note's entry in the report (of a segment's, for a part) that says the same.
    ``default``: marked unless the user says otherwise. ``always``: on every note that has it, whatever
    ``show`` says. ``written_out``: can be added to the part written out for the instrument. ``size``: of its
    letters in points, where the programs that show it would take the size of lyrics (small beside the notes,
    so that neighbours do not run together; tried in three programs).
    """

    name: str
    label: str
    about: str
    element: Element
    legend: tuple[tuple[str, str], ...]
    report: str
    default: bool = False
    always: bool = False
    written_out: bool = True
    size: float = 7.0


MARKS = (
    Mark(
        "fingering",
        "Fingerings",
        "the valves of each note, and the other ones where they ease it",
        Element.FINGERING,
        (("1-2", "valves to press, 0 is open"),),
        report="fingering",
        default=True,
    ),
    Mark(
        "partial",
        "Partial numbers",
        "the number of each note's partial, under the staff",
        Element.LYRIC,
        (("5", "under the staff: the partial, counted from the fundamental"),),
        report="partial",
        default=True,
    ),
    Mark(
        "intonation",
        "Slides and cents",
        "how far to pull a slide, or how many cents are left for the lip",
        Element.LYRIC,
        (("3rd 9", "slide to pull, in millimeters (! too far or too quick), or the cents left"),),
        report="slide_mm",
        size=6.0,
    ),
    Mark(
        "crossing",
        "Awkward crossings",
        "a flag where the way to a note is awkward",
        Element.WORDS,
        (("!", "awkward crossing to this note: ! mild, !! medium, !!! hard"),),
        report="crossing",
        default=True,
        always=True,
        size=8.0,
    ),
    Mark(
        "demands",
        "Other demands",
        "a word where a part asks for more than fingers: tongue, breath, a soft high entry, range, mute",
        Element.WORDS,
        (("", "words over a note: what it asks for besides the fingers"),),
        report="demands",
        always=True,
        size=8.0,
    ),
    Mark(
        "cue",
        "The line as read on this trumpet",
        "a small staff with the notes as they are read on the trumpet in hand, where they differ",
        Element.PART,
        (("", "small staff: the notes as read on the instrument in hand"),),
        report="read",
        default=True,
        written_out=False,
    ),
)
"""In the order in which sheets explain them and forms offer them."""
MARK = {mark.name: mark for mark in MARKS}
MARK_NAMES = tuple(mark.name for mark in MARKS)
DEFAULT_MARKS = tuple(mark.name for mark in MARKS if mark.default)
LYRIC_MARKS = tuple(mark.name for mark in MARKS if mark.element is Element.LYRIC)
WORD_MARKS = tuple(mark.name for mark in MARKS if mark.element is Element.WORDS)
