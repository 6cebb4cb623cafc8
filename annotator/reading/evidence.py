"""What in a part speaks about its crook: names, headings, and words with the place where they take effect."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from annotator.change_times import CROOK, INSTRUMENT, PHRASE, needs
from annotator.reading.changes import read_change
from annotator.reading.model import Evidence
from annotator.reading.names import read_heading
from annotator.reading.note_times import NoteTimes, Silence
from annotator.reading.said import Change, Named
from annotator.reading.spoken import heading_texts, part_words
from annotator.score.model import Part, Transposition, Words

_INFINITE = float("inf")


@dataclass(frozen=True, slots=True)
class Source:
    """A text that names a crook."""

    evidence: Evidence
    named: Named


@dataclass(frozen=True, slots=True)
class PlacedChange:
    """A change of words at its place. ``position``: where it takes effect, in quarters; ``rest``: the silence
    it is made in there; ``passed_over``: rests before that were too short, those within a phrase left out."""

    position: float
    words: Words
    change: Change
    named: Named
    evidence: Evidence
    rest: Silence
    passed_over: tuple[Silence, ...] = ()

    @property
    def need(self) -> float:
        """The seconds it wants."""
        return needs()[INSTRUMENT if self.named.family else CROOK].seconds


def speaks_to(named: Named, players: Sequence[int]) -> Named | None:
    """What ``named`` tells one of these players (none: anyone), or None where it speaks to others only."""
    if not players:
        return named
    told = (named, *named.further)
    own = (each for each in told if not set(each.players).isdisjoint(players))
    return next(own, None) or next((each for each in told if not each.players), None)


def headings(part: Part, players: Sequence[int] = ()) -> tuple[Source, ...]:
    """The texts that name the crook the part begins with, the one closest to the music first.

    Words over the first measure come before the part's name, that before its abbreviation, the names
    of its instruments and the credits (in which titles of works are passed over). ``players``: the
    numbers that the reader answers to, none for anyone.
    """
    found = [
        Source(_of_words(words, part), named)
        for words in part_words(part)
        if is_heading(words)
        and (change := read_change(words.text)) is not None
        and (named := speaks_to(change.named, players)) is not None
        and named.note
    ]
    for kind, text, title in heading_texts(part):
        said = read_heading(text, title=title) if text else None
        if said is not None and (said.family or not title):
            # A part's own name is its player's, whatever number stands in it.
            found.append(Source(Evidence(kind, " ".join(text.split())), speaks_to(said, players) or said))
    return tuple(found)


def is_heading(words: Words) -> bool:
    """True for words over the first measure that name rather than announce."""
    if words.measure > 0:
        return False
    change = read_change(words.text)
    return change is not None and not change.announces


def _of_words(words: Words, part: Part) -> Evidence:
    return Evidence("words", " ".join(words.text.split()), part.measure_number(words.measure))


def changes(part: Part, times: NoteTimes, players: Sequence[int] = ()) -> tuple[PlacedChange, ...]:
    """The changes of a part by words, each with the place where it takes effect.

    That is where the words stand, when they merely name the crook, and for an announcement in a rest that
    is more than a phrase's breath. One over notes takes effect in the first rest long enough for the change
    (``change_times``): a quarter's rest within the phrase is none. Where no rest is long enough before the
    next change it is made in the longest, and over the last phrase when that has ended.
    """
    found = [
        (words, change, named)
        for words in part_words(part)
        if (change := read_change(words.text)) is not None
        and not is_heading(words)
        and not _labels_cue_notes(part, words, change)
        and (named := speaks_to(change.named, players)) is not None
    ]
    ends = sorted([words.position for words, _, _ in found] + [each.position for each in part.transpositions])
    placed = []
    for words, change, named in found:
        coming = bisect_right(ends, words.position)
        until = ends[coming] if coming < len(ends) else _INFINITE
        at = PlacedChange(
            words.position, words, change, named, _of_words(words, part), times.around(words.position)
        )
        placed.append(_in_rest(at, times, until) if change.announces else _from_here(at, times))
    return tuple(sorted(placed, key=lambda item: item.position))


def others_changes(part: Part, players: Sequence[int]) -> Iterator[tuple[Words, Change]]:
    """Changes that speak to players by number, and to none of ``players``."""
    for words in part_words(part):
        change = read_change(words.text)
        if change is not None and speaks_to(change.named, players) is None:
            yield words, change


def _labels_cue_notes(part: Part, words: Words, change: Change) -> bool:
    """True for the name of another instrument over its cue notes ("Tpt. 1 in C")."""
    return (
        change.named.family != ""
        and not change.announces
        and any(head.cue and head.measure == words.measure for head in part.heads)
    )


def _from_here(at: PlacedChange, times: NoteTimes) -> PlacedChange:
    """Where words that merely name a crook take effect: there, or when the note they stand over ends."""
    position = max(at.position, at.rest.start) if at.rest.start > at.position else at.position
    return replace(at, position=position, rest=times.around(position))


def _in_rest(at: PlacedChange, times: NoteTimes, until: float) -> PlacedChange:
    """Where an announcement takes effect: in the first rest long enough before ``until``, or the longest."""
    position = at.position
    phrase = needs()[PHRASE].seconds
    if at.rest.start <= position and at.rest.seconds >= phrase:
        return at
    rests: list[Silence] = []
    for rest in times.silences(position):
        if rest.start >= until or rest.end == _INFINITE:
            break
        rests.append(rest)
        if rest.seconds >= at.need:
            short = tuple(each for each in rests[:-1] if each.seconds >= phrase)
            return replace(at, position=max(position, rest.start), rest=rest, passed_over=short)
    longest = max(rests, key=lambda rest: rest.seconds, default=None)
    if longest is not None and longest.seconds >= phrase:
        return replace(at, position=max(position, longest.start), rest=longest)
    if until < _INFINITE:
        return at
    # It stands over the last phrase: it is for what comes after.
    return replace(at, position=max(position, times.last_end), rest=times.around(_INFINITE))


def partner_of(
    placed: PlacedChange, later: Sequence[Transposition], times: NoteTimes, until: float
) -> Transposition | None:
    """The ``<transpose>`` that belongs to a change of words: no note stands between the two, or it comes
    before the next change (at ``until``) and says the same."""
    stands, made = times.around(placed.words.position), times.around(placed.position)
    first = bisect_left(later, min(stands.start, made.start), key=_position)
    for item in later[first : bisect_right(later, max(stands.end, made.end), key=_position)]:
        if times.silent_between(item.position, placed.position) or times.silent_between(
            item.position, placed.words.position
        ):
            return item
    first = bisect_left(later, placed.words.position, key=_position)
    for item in later[first : bisect_left(later, until, key=_position)]:
        if any(
            crook.sounding == item.interval
            for crook in (placed.named.crook, *placed.named.may_be)
            if crook is not None
        ):
            return item
    return None


def _position(item: Transposition) -> float:
    return item.position
