"""Tempo marks of the parts that are not read: they stand in one part, usually the top one, and rule all."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from lxml import etree

from annotator.score.directions import Direction, read_direction
from annotator.score.model import Measure, Tempo
from annotator.score.shapes import number_of

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
    divisions = 1.0
    for index, element in enumerate(part[: len(measures)]):
        for attributes in element.iterchildren("attributes"):
            divisions = number_of(attributes.find("divisions"), 0.0) or divisions
        if _has_tempo(element):
            for offset, direction in _directions(element):
                tempo = tempo_of(direction, measures[index].start + offset / divisions, index)
                if tempo is not None:
                    yield tempo


def sorted_once(tempos: Iterable[Tempo]) -> tuple[Tempo, ...]:
    """The tempos by position, each once though every part may print it."""
    found = {
        (round(tempo.position, 6), tempo.quarters_per_minute, tempo.source, tempo.text): tempo
        for tempo in tempos
    }
    return tuple(sorted(found.values(), key=lambda tempo: tempo.position))


def _directions(measure: etree._Element) -> Iterator[tuple[float, Direction]]:
    """Each direction of a measure with its offset in divisions."""
    cursor = 0.0
    for child in measure:
        tag = child.tag
        if tag == "note":
            if child.find("chord") is None and child.find("grace") is None:
                cursor += number_of(child.find("duration"), 0.0)
        elif tag == "forward":
            cursor += number_of(child.find("duration"), 0.0)
        elif tag == "backup":
            cursor = max(0.0, cursor - number_of(child.find("duration"), 0.0))
        elif tag in ("direction", "sound"):
            direction = read_direction(child)
            yield cursor + direction.offset, direction
