"""What to show on the page, of all that is known about each note."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from annotator.fingering.model import PlayedNote
from annotator.fingering.sentences import short
from annotator.options import Options
from annotator.pitch import Pitch
from annotator.registry.mark_rows import LYRIC_MARKS, MARKS, WORD_MARKS
from annotator.score.model import Line, Note

FLAG_STROKES = {1: "!", 2: "!!", 3: "!!!"}
"""A crossing's grade on the page: readable in black and white, and no sign of music notation."""

WORTH_SAYING_CENTS = 8.0
"""Cents off that the intonation line prints; what is less passes (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class NoteMark:
    """The marks of a note; an empty string or tuple is nothing to show.

    ``lyrics``, ``words``: the marks that are syllables, and words before the note, as (mark, text) in the
    order of the rows.
    """

    fingering: str = ""
    alternate: str = ""
    lyrics: tuple[tuple[str, str], ...] = ()
    words: tuple[tuple[str, str], ...] = ()


NOTHING = NoteMark()
_ALWAYS = frozenset(mark.name for mark in MARKS if mark.always)


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
    # A fingering printed in the part stays, and is not doubled.
    valves = "fingering" in wanted and show and not printed and how.fingering is not None
    mark = NoteMark(
        how.fingering.valves if valves and how.fingering else "",
        _alternate(how) if valves else "",
        _texts(LYRIC_MARKS, how, show, wanted),
        _texts(WORD_MARKS, how, show, wanted),
    )
    return NOTHING if mark == NOTHING else mark


def _texts(
    marks: Sequence[str], how: PlayedNote, show: bool, wanted: Sequence[str]
) -> tuple[tuple[str, str], ...]:
    found = []
    for name in marks:
        if name in wanted and (show or name in _ALWAYS):
            text = TEXTS[name](how)
            if text:
                found.append((name, text))
    return tuple(found)


def _alternate(how: PlayedNote) -> str:
    """The other fingering a trill moves to, or the one that would ease the crossing."""
    if how.trill is not None and how.fingering is not None and how.trill.valves != how.fingering.valves:
        return how.trill.valves
    return ""


def _partial(how: PlayedNote) -> str:
    return str(how.fingering.partial) if how.fingering is not None else ""


def _crossing(how: PlayedNote) -> str:
    crossing = how.crossing
    return f"{FLAG_STROKES[crossing.grade]} {short(crossing)}".strip() if crossing is not None else ""


def _demands(how: PlayedNote) -> str:
    return ", ".join(dict.fromkeys(each.row.word for each in how.demands))


def _intonation(how: PlayedNote) -> str:
    """The slides where they are set anew, in millimetres (``in``: home again), ``!`` when too far or too
    quick; else, on a note held long enough to hear them, the cents left, if worth it."""
    if how.fingering is None:
        return ""
    slides = how.slides
    if slides.moved:
        pulls = [f"{name} {mm}" for name, mm in (("1st", slides.first), ("3rd", slides.third)) if mm]
        return (" ".join(pulls) or "in") + ("!" if slides.trouble else "")
    if not slides.matters or abs(slides.cents_left) < WORTH_SAYING_CENTS:
        return ""
    return f"{slides.cents_left:+.0f}¢"


TEXTS: Mapping[str, Callable[[PlayedNote], str]] = {
    "partial": _partial,
    "intonation": _intonation,
    "crossing": _crossing,
    "demands": _demands,
}
"""What each mark that is a syllable or words says on a note; "" for nothing."""
