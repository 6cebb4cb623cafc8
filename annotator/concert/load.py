"""How much a player plays: seconds of playing and rest, high, loud, and the longest stretch without a rest.

Figures only. No load is called safe here, since none is known to be: see ``CAUTION``.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from lxml import etree

from annotator.concert.course import Course, unfold
from annotator.pitch import transpose
from annotator.played import PlayedLine, PlayedPart
from annotator.score.model import SAME_PLACE
from annotator.score.signs import Dynamic
from annotator.score.signs import dynamics as read_dynamics
from annotator.score.signs import signs as read_signs
from annotator.timing import Clock

G5 = 79
"""The semitone of G5 (C4 = 60): above it is counted as high."""
REST = 1.0
"""Seconds without a note that count as a rest: time to take the mouthpiece off (our own choice)."""
DAY_HOURS = 3.0
"""Hours of playing a day, practice included, named as a working limit: common practice, no source."""
CAUTION = (
    "These are figures, not a judgement: how much your lips bear is for you, your teacher and a health "
    "professional to say. Stop at once if it hurts or an area goes numb, and ask them. Players commonly name "
    f"about {DAY_HOURS:g} hours a day, practice included, as a working limit (common practice, no source)."
)


@dataclass(frozen=True, slots=True)
class Load:
    """What one player plays of a piece, or of a concert. All in seconds.

    ``duration`` from beginning to end; ``playing`` with a note sounding; ``rest`` in rests of ``REST`` and
    more; ``high`` above written G5 on the instrument in hand, ``high_sounding`` above sounding G5; ``loud``
    at f and above, None where the part has no dynamics; ``longest`` the longest stretch without a rest,
    from measure ``longest_from`` to ``longest_to`` as the file numbers them.
    """

    duration: float
    playing: float
    rest: float
    high: float
    high_sounding: float
    loud: float | None
    longest: float
    longest_from: str = ""
    longest_to: str = ""


@dataclass(frozen=True, slots=True)
class Sounding:
    """A note as it comes in the course of a piece: seconds, pitches as semitones, and its measure's number.

    ``loud`` is None where no dynamic is in force.
    """

    start: float
    end: float
    reading: int
    sounds: int
    loud: bool | None
    measure: str


def load_of(notes: Sequence[Sounding], duration: float) -> Load:
    """The load of ``notes`` (one player's, sorted by start) in a piece of ``duration`` seconds."""
    playing = high = high_sounding = loud = longest = 0.0
    rest = notes[0].start if notes and notes[0].start >= REST else 0.0
    known = False
    longest_from = longest_to = ""
    stretch: tuple[float, str] | None = None
    for place, note in enumerate(notes):
        length = max(0.0, note.end - note.start)
        playing += length
        high += length if note.reading > G5 else 0.0
        high_sounding += length if note.sounds > G5 else 0.0
        loud += length if note.loud else 0.0
        known = known or note.loud is not None
        begun, measure = stretch or (note.start, note.measure)
        if note.end - begun > longest:
            longest, longest_from, longest_to = note.end - begun, measure, note.measure
        following = notes[place + 1].start if place + 1 < len(notes) else duration
        gap = following - note.end
        stretch = (begun, measure) if gap < REST else None
        rest += gap if gap >= REST else 0.0
    if not notes:
        rest = duration
    return Load(
        duration,
        playing,
        rest,
        high,
        high_sounding,
        loud if known else None,
        longest,
        longest_from,
        longest_to,
    )


def together(loads: Sequence[Load]) -> Load:
    """The load of a concert: sums, and the longest stretch of all. Between pieces there is a rest."""
    worst = max(loads, key=lambda load: load.longest, default=None)
    known = [load.loud for load in loads if load.loud is not None]
    return Load(
        sum(load.duration for load in loads),
        sum(load.playing for load in loads),
        sum(load.rest for load in loads),
        sum(load.high for load in loads),
        sum(load.high_sounding for load in loads),
        sum(known) if known else None,
        worst.longest if worst else 0.0,
        worst.longest_from if worst else "",
        worst.longest_to if worst else "",
    )


def course_of(root: etree._Element, part: PlayedPart) -> Course:
    """The course of a part; ``root`` is the tree its score was read from (``prepare_tree``)."""
    return unfold(read_signs(root, part.part.id))


def sounding_notes(
    played: PlayedPart, line: PlayedLine, course: Course, clock: Clock, marks: Sequence[Dynamic] = ()
) -> tuple[tuple[Sounding, ...], float]:
    """A line's notes as they come in the course of the piece, and the piece's duration in seconds.

    A note ends at the latest where the next one begins. Grace notes take no time of their own.
    """
    measures = played.part.measures
    stretch = played.at.line(line.line.number)
    seconds = clock.seconds
    by_measure: dict[int, list[int]] = {}
    for index, note in enumerate(line.line.notes):
        if note.duration > 0:
            by_measure.setdefault(note.measure, []).append(index)
    places = [(mark.measure, mark.offset) for mark in marks]
    found: list[Sounding] = []
    now = 0.0
    for index in course.order:
        measure = measures[index]
        begin = seconds(measure.start)
        for which in by_measure.get(index, ()):
            note, pitch = line.line.notes[which], line.pitches[which]
            start = seconds(note.onset)
            at = bisect_right(places, (index, note.offset + SAME_PLACE)) - 1
            sounds = transpose(note.pitch, stretch(note.onset).segment.sounding).semitone
            found.append(
                Sounding(
                    now + start - begin,
                    now + seconds(note.onset + note.duration) - begin,
                    pitch.semitone,
                    sounds,
                    marks[at].level > 0 if at >= 0 else None,
                    measure.number,
                )
            )
        now += seconds(measure.start + measure.length) - begin
    return tuple(_clipped(found, now)), now


def load_of_line(root: etree._Element, played: PlayedPart, line: PlayedLine, clock: Clock) -> Load:
    """The load of one line of a part."""
    part_id = played.part.id
    marks = read_dynamics(root, part_id)
    return load_of(*sounding_notes(played, line, course_of(root, played), clock, marks))


def _clipped(notes: list[Sounding], duration: float) -> list[Sounding]:
    found = []
    for place, note in enumerate(notes):
        limit = notes[place + 1].start if place + 1 < len(notes) else duration
        end = min(note.end, max(limit, note.start))
        found.append(Sounding(note.start, end, note.reading, note.sounds, note.loud, note.measure))
    return found
