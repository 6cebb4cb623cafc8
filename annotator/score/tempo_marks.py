"""Tempo marks of the parts that are not read: they stand in one part, usually the top one, and rule all."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from lxml import etree

from annotator.score.directions import Direction, read_direction
from annotator.score.model import Measure, Tempo
from annotator.score.walk import Walk, divisions_of

_has_tempo = etree.XPath(
    "boolean(direction[direction-type/metronome or direction-type/words or sound/@tempo] | sound/@tempo)"
)


def tempo_of(direction: Direction, position: float, measure: int) -> Tempo | None:
    """A direction as a tempo mark, or None when it has neither a tempo nor words."""
    if direction.quarters_per_minute is not None:
        return Tempo(position, measure, direction.quarters_per_minute, direction.source, direction.words)
    return Tempo(position, measure, None, "words", direction.words) if direction.words else None


def tempo_marks(part: Sequence[etree._Element], measures: Sequence[Measure]) -> Iterator[Tempo]:
    """The tempo marks of a part, given as its measures' elements. ``measures`` gives the time line.

    Only measures that hold a mark are walked.
    """
    walk = Walk()
    for index, element in enumerate(part[: len(measures)]):
        if not _has_tempo(element):
            for attributes in element.iterchildren("attributes"):
                walk.divisions = divisions_of(attributes) or walk.divisions
            continue
        for tag, child, onset, _ in walk.through(element):
            if tag in ("direction", "sound"):
                direction = read_direction(child)
                position = max(0.0, measures[index].start + onset + walk.shift(direction.offset))
                tempo = tempo_of(direction, position, index)
                if tempo is not None:
                    yield tempo


def sorted_once(tempos: Iterable[Tempo]) -> tuple[Tempo, ...]:
    """The tempos by position, each once though every part may print it."""
    found = {
        (round(tempo.position, 6), tempo.quarters_per_minute, tempo.source, tempo.text): tempo
        for tempo in tempos
    }
    return tuple(sorted(found.values(), key=lambda tempo: tempo.position))
