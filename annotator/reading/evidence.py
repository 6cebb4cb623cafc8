"""What in a part speaks about its crook: names, headings, words, and when its notes sound."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate

from annotator.reading.changes import read_change
from annotator.reading.names import read_heading
from annotator.reading.said import Change, Named
from annotator.score.model import Part, Words


@dataclass(frozen=True, slots=True)
class Source:
    """A text that names a crook. ``label`` says which, for people."""

    label: str
    named: Named


@dataclass(frozen=True, slots=True)
class WordChange:
    """A change word at its place. ``position`` is where it takes effect, in quarters."""

    position: float
    words: Words
    change: Change
    label: str


class NoteTimes:
    """When the notes of a part sound, all its lines together. Grace notes are left out."""

    def __init__(self, part: Part) -> None:
        self._part = part

    @cached_property
    def _spans(self) -> list[tuple[float, float]]:
        # Only a part that changes its crook asks when notes sound.
        return sorted(
            (note.onset, note.onset + note.duration)
            for line in self._part.lines
            for note in line.notes
            if not note.grace
        )

    @cached_property
    def onsets(self) -> list[float]:
        """Where notes begin, in order."""
        return [onset for onset, _ in self._spans]

    @cached_property
    def ends(self) -> list[float]:
        """For each onset the latest end of all notes up to this one."""
        return list(accumulate((end for _, end in self._spans), max))

    def silent_between(self, one: float, other: float) -> bool:
        """True when no note begins from the earlier position up to, not including, the later one."""
        early, late = min(one, other), max(one, other)
        return bisect_left(self.onsets, early) == bisect_left(self.onsets, late)

    def before(self, position: float) -> float:
        """The end of what sounds or began before ``position``; minus infinity where nothing did."""
        index = bisect_left(self.onsets, position)
        return self.ends[index - 1] if index else float("-inf")

    def next_onset(self, position: float) -> float:
        """The first onset at or after ``position``; infinity where there is none."""
        index = bisect_left(self.onsets, position)
        return self.onsets[index] if index < len(self.onsets) else float("inf")

    @cached_property
    def _pauses(self) -> list[int]:
        """The numbers of the onsets after which all notes end before the next one begins."""
        following = (*self.onsets[1:], float("inf"))
        return [
            index for index, (end, later) in enumerate(zip(self.ends, following, strict=False)) if end < later
        ]

    def next_rest(self, position: float) -> float | None:
        """Where the first rest after ``position`` begins, or None when the notes never pause."""
        first = max(bisect_right(self.onsets, position) - 1, 0)
        pause = bisect_left(self._pauses, first)
        if pause == len(self._pauses):
            return None
        return max(self.ends[self._pauses[pause]], position)


def number_of(part: Part, measure: int) -> str:
    """What the file numbers a measure with."""
    return part.measures[measure].number if 0 <= measure < len(part.measures) else str(measure + 1)


def headings(part: Part) -> tuple[Source, ...]:
    """The texts that name the crook the part begins with, the one closest to the music first.

    Words over the first measure come before the part's name, that before its abbreviation, the names
    of its instruments and the credits (in which titles of works are passed over).
    """
    found = [
        Source(_label(words, part), change.named)
        for words in part.words
        if is_heading(words) and (change := read_change(words.text)) is not None and change.named.note
    ]
    texts = [("part name", part.name, False), ("part abbreviation", part.abbreviation, False)]
    texts += [("instrument name", name, False) for name in part.instrument_names]
    texts += [("heading", text, True) for text in part.headings]
    for kind, text, title in texts:
        named = read_heading(text, title=title) if text else None
        if named is not None and (named.family or not title):
            found.append(Source(f"{kind} '{' '.join(text.split())}'", named))
    return tuple(found)


def is_heading(words: Words) -> bool:
    """True for words over the first measure that name rather than announce."""
    if words.measure > 0:
        return False
    change = read_change(words.text)
    return change is not None and not change.announces


def _label(words: Words, part: Part) -> str:
    return f"'{' '.join(words.text.split())}' in measure {number_of(part, words.measure)}"


def changes(part: Part, times: NoteTimes) -> tuple[WordChange, ...]:
    """The change words of a part, each with the place where it takes effect.

    That is where the words stand, when the player has a rest before the next note or the words
    merely name the crook. An announcement over notes that go on without a rest takes effect in the next
    rest: a crook can't be changed while playing.
    """
    found = []
    for words in part.words:
        change = read_change(words.text)
        if change is None or is_heading(words) or _labels_cue_notes(part, words, change):
            continue
        found.append(
            WordChange(_takes_effect(words.position, change, times), words, change, _label(words, part))
        )
    return tuple(sorted(found, key=lambda item: item.position))


def _labels_cue_notes(part: Part, words: Words, change: Change) -> bool:
    """True for the name of another instrument over its cue notes ("Tpt. 1 in C")."""
    return (
        change.named.family != ""
        and not change.announces
        and any(head.cue and head.measure == words.measure for head in part.heads)
    )


def _takes_effect(position: float, change: Change, times: NoteTimes) -> float:
    ended = times.before(position)
    if ended > position:  # the words stand over a note that still sounds
        if not change.announces or times.next_onset(position) > ended:
            return ended
    elif not change.announces or ended < position or times.next_onset(position) > position:
        return position
    rest = times.next_rest(position)
    return position if rest is None else rest
