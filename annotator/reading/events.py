"""Changes of words and of ``<transpose>`` in the order in which a player meets them."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from annotator.reading.evidence import PlacedChange, changes, partner_of
from annotator.reading.note_times import NoteTimes
from annotator.score.model import Part, Transposition


@dataclass(frozen=True, slots=True)
class Event:
    position: float
    measure: int
    word: PlacedChange | None
    transposition: Transposition | None


def events(part: Part, times: NoteTimes, players: Sequence[int]) -> list[Event]:
    """Change words and transpositions in order; those with no note between them are one event."""
    later = [item for item in part.transpositions if item.position > 0]
    events: list[Event] = []
    placed = changes(part, times, players)
    for index, word in enumerate(placed):
        until = placed[index + 1].words.position if index + 1 < len(placed) else float("inf")
        partner = partner_of(word, later, times, until)
        if partner is None:
            events.append(Event(word.position, _measure_at(part, word), word, None))
        else:
            later.remove(partner)
            events.append(Event(partner.position, partner.measure, word, partner))
    events += [Event(item.position, item.measure, None, item) for item in later]
    return sorted(events, key=lambda event: event.position)


def _measure_at(part: Part, word: PlacedChange) -> int:
    first = word.words.measure
    after = bisect_right(part.measures, word.position, lo=first, key=lambda measure: measure.start)
    return max(first, after - 1)
