"""The walk through a part's measures: where each thing in them stands.

Notes follow one another, ``<backup>`` and ``<forward>`` move, a chord's later notes stand where its first
one does, and grace notes take no time (MusicXML 4.0). Who wants to know where something stands asks here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple, Protocol, TypeVar

from lxml import etree

from annotator.score.numbers import BEATS, DIVISIONS, QUARTERS, number_of, text_of, whole


class Span(NamedTuple):
    """How long something is, in divisions, and whether it is a later note of a chord."""

    duration: float
    chord: bool


class Time(NamedTuple):
    """A time signature: ``beats`` of ``beat_type`` in a measure."""

    beats: int
    beat_type: int

    @property
    def quarters(self) -> float:
        """The length of a measure."""
        return self.beats * 4 / self.beat_type


class _Tagged(Protocol):
    @property
    def tag(self) -> str: ...


Child = TypeVar("Child", bound=_Tagged)


def span_of(element: etree._Element) -> Span:
    """The span of a ``<note>``, ``<backup>`` or ``<forward>``."""
    grace = element.find("grace") is not None
    duration = 0.0 if grace else number_of(element.find("duration"), 0.0)
    return Span(duration, element.find("chord") is not None)


def divisions_of(attributes: etree._Element) -> float:
    """The divisions that an ``<attributes>`` sets, 0 when it sets none (or none that can be)."""
    found = number_of(attributes.find("divisions"), 0.0)
    return found if DIVISIONS.has(found) else 0.0


class Walk:
    """A way through the measures of one part, in order.

    ``divisions`` (of a quarter) last from one measure to the next. ``length`` is how far the measure
    that was walked last reaches, in quarters. ``longest``: no note or move takes more.
    """

    def __init__(self, divisions: float = 1.0, longest: float = QUARTERS.most) -> None:
        self.divisions = divisions
        self.length = 0.0
        self.longest = longest

    def shift(self, offset: float) -> float:
        """An ``<offset>``, in divisions, as quarters."""
        return max(-QUARTERS.most, min(QUARTERS.most, offset / self.divisions))

    def through(
        self, measure: Iterable[etree._Element]
    ) -> Iterator[tuple[str, etree._Element, float, float]]:
        """Each child but the moves: its tag, itself, where it stands and how long it is, in quarters."""
        return self.steps(measure, span_of, span_of, divisions_of)

    def steps(
        self,
        children: Iterable[Child],
        note: Callable[[Child], tuple[float, bool]],
        move: Callable[[Child], tuple[float, bool]],
        divisions: Callable[[Child], float],
    ) -> Iterator[tuple[str, Child, float, float]]:
        """As ``through``, for children of any kind that know their tag: ``note`` and ``move`` say what
        ``span_of`` says of an element, ``divisions`` what ``divisions_of`` does."""
        here = furthest = onset = 0.0
        per_quarter = self.divisions
        longest = self.longest
        for child in children:
            tag = child.tag
            if tag == "note":
                duration, chord = note(child)
                duration /= per_quarter
                if not 0.0 <= duration <= longest:
                    duration = min(max(duration, 0.0), longest)
                if not chord:
                    onset = here
                    here += duration
                    if here > furthest:  # noqa: PLR1730 - a call less for every note
                        furthest = here
                yield tag, child, onset, duration
            elif tag == "backup":
                here = max(0.0, here - min(max(move(child)[0] / per_quarter, 0.0), longest))
            elif tag == "forward":
                here += min(max(move(child)[0] / per_quarter, 0.0), longest)
                furthest = max(furthest, here)
            else:
                if tag == "attributes":
                    self.divisions = per_quarter = divisions(child) or per_quarter
                yield tag, child, here, 0.0
        self.length = furthest


def time_of(element: etree._Element) -> Time | None:
    """A ``<time>``, its beats added up ("3+2" of 8 are five); None where it counts none.

    Raises ValueError, in words, for one that means nothing.
    """
    quarters, beat_type = 0.0, 4
    for beats, unit in zip(element.findall("beats"), element.findall("beat-type"), strict=False):
        counts = [whole(word, BEATS) for word in text_of(beats).split("+")]
        count = sum(filter(None, counts))
        below = whole(text_of(unit), BEATS)
        if None in counts or below is None or not BEATS.has(count):
            raise ValueError(f"a time signature of {text_of(beats)[:20]}/{text_of(unit)[:20]}")
        beat_type = below
        quarters += count * 4 / beat_type
    return Time(round(quarters * beat_type / 4), beat_type) if quarters > 0 else None
