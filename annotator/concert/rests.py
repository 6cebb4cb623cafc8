"""Is there rest enough to change the instrument or the mute?"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

from annotator.change_times import INSTRUMENT, MUTE_IN, MUTE_OUT, needs
from annotator.findings import Finding
from annotator.played import PlayedPart
from annotator.reading.changes import read_words
from annotator.score.model import SAME_PLACE, Line
from annotator.timing import Clock

_SAID = {
    MUTE_IN: "putting the mute in",
    MUTE_OUT: "taking the mute out",
}


@dataclass(frozen=True, slots=True)
class TimedChange:
    """A change asked for: in measure index ``measure``, at ``position`` (quarters), with ``rest`` seconds
    between the notes on either side (infinite where one side has none)."""

    kind: str
    position: float
    measure: int
    rest: float
    text: str


class RestAround:
    """Seconds between the last note that begins before a position and the first from there on.

    ``lines`` are those of the player who changes. Infinite where one side has no notes; 0 where a note
    sounds across.
    """

    def __init__(self, lines: Sequence[Line], clock: Clock) -> None:
        notes = sorted((note.onset, note.onset + note.duration) for line in lines for note in line.notes)
        self._onsets = [onset for onset, _ in notes]
        self._ends = list(accumulate((end for _, end in notes), max))
        self._clock = clock

    def __call__(self, position: float) -> float:
        following = bisect_left(self._onsets, position - SAME_PLACE)
        if following in (0, len(self._onsets)):
            return float("inf")
        seconds = self._clock.seconds
        return max(0.0, seconds(self._onsets[following]) - seconds(self._ends[following - 1]))


def mute_changes(played: PlayedPart, clock: Clock) -> list[TimedChange]:
    """Every place where words ask for a mute or for its removal."""
    part = played.part
    rest_around = RestAround(part.lines, clock)
    found = []
    muted = False
    for words in part.words:
        kind = mute_kind(words.text)
        if kind is None or muted == (kind == MUTE_IN):
            continue  # "nat." and "ord." speak of something else where no mute is in
        muted = kind == MUTE_IN
        # Words of a change stand where the hand is free, in the rest, or over the first note with it.
        rest = rest_around(words.position)
        found.append(TimedChange(kind, words.position, words.measure, rest, words.text))
    return found


def crook_changes(played: PlayedPart, clock: Clock, line: int | None = None) -> list[TimedChange]:
    """Every place where the crook changes: a player with the instrument named would change it there.

    ``line``: only where it changes for that line.
    """
    found = []
    for numbers, segments in played.reading.groups():
        if line is not None and numbers and line not in numbers:
            continue
        rest_around = RestAround(_lines(played, numbers), clock)
        found += [
            TimedChange(
                INSTRUMENT,
                segment.from_position,
                segment.from_measure_index,
                rest_around(segment.from_position),
                f"from {before.crook.name} to {segment.crook.name}",
            )
            for before, segment in pairwise(segments)
            if segment.crook.sounding != before.crook.sounding or segment.family != before.family
        ]
    return found


def _lines(played: PlayedPart, numbers: Sequence[int]) -> list[Line]:
    """The lines with these numbers, all of them where there are none."""
    return [line for line in played.part.lines if not numbers or line.number in numbers]


def mute_kind(text: str) -> str | None:
    """``mute-in``, ``mute-out`` or None, as the reading of words has it ("con sord.", "o. Dpf.", "open")."""
    return {"in": MUTE_IN, "out": MUTE_OUT}.get(read_words(text).mute)


def rest_findings(played: PlayedPart, clock: Clock, line: int | None = None) -> tuple[Finding, ...]:
    """A finding for each change that has less rest than the table asks for.

    A change of crook is no trouble to a player who stays on one trumpet and reads it: the finding
    says so. ``line``: only the crooks of that line.
    """
    part = played.part
    found = []
    for change in (*crook_changes(played, clock, line), *mute_changes(played, clock)):
        need = needs()[change.kind]
        if change.rest >= need.seconds:
            continue
        number = part.measures[change.measure].number if change.measure < len(part.measures) else None
        if change.kind == INSTRUMENT:
            message = (
                f"the crook changes {change.text} with {change.rest:.1f} s of rest, and taking another "
                f"trumpet wants {need.seconds:g} s: stay on one trumpet and read the new crook"
            )
            found.append(Finding("short-rest-to-change", message, part.id, number))
        else:
            message = (
                f"“{change.text}” with {change.rest:.1f} s of rest, and {_SAID[change.kind]} wants "
                f"{need.seconds:g} s: have the mute at hand, or agree with a colleague"
            )
            found.append(Finding("short-rest-for-mute", message, part.id, number))
    return tuple(found)
