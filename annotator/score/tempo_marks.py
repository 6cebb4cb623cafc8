"""Tempo marks of the whole score: they stand in one part, usually the top one, and rule all."""

from __future__ import annotations

import re
from collections.abc import Sequence

from lxml import etree

from annotator.score.model import Measure, Tempo
from annotator.score.shapes import number_of, text_of

# Quarters in a beat unit (MusicXML 4.0, note-type-value).
_UNITS = {
    "maxima": 32.0,
    "long": 16.0,
    "breve": 8.0,
    "whole": 4.0,
    "half": 2.0,
    "quarter": 1.0,
    "eighth": 0.5,
    "16th": 0.25,
    "32nd": 0.125,
    "64th": 0.0625,
}
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
_has_tempo = etree.XPath(
    "boolean(direction[direction-type/metronome or direction-type/words or sound/@tempo] | sound/@tempo)"
)


def tempo_marks(parts: Sequence[Sequence[etree._Element]], measures: Sequence[Measure]) -> tuple[Tempo, ...]:
    """Every tempo mark of ``parts`` (their measures' elements), sorted, each once.

    ``measures`` gives the time line. Only measures that hold a mark are walked.
    """
    found: dict[tuple[float, float | None, str, str], Tempo] = {}
    for part in parts:
        divisions = 1.0
        for index, element in enumerate(part[: len(measures)]):
            for change in element.iterfind("attributes/divisions"):
                divisions = number_of(change, 0.0) or divisions
            if not _has_tempo(element):
                continue
            for offset, tempo in _marks(element, divisions):
                position = measures[index].start + offset
                key = (round(position, 6), tempo.quarters_per_minute, tempo.source, tempo.text)
                found.setdefault(
                    key, Tempo(position, index, tempo.quarters_per_minute, tempo.source, tempo.text)
                )
    return tuple(sorted(found.values(), key=lambda tempo: tempo.position))


def _marks(measure: etree._Element, divisions: float) -> list[tuple[float, Tempo]]:
    marks: list[tuple[float, Tempo]] = []
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
            offset = number_of(child.find("offset"), 0.0)
            marks += [((cursor + offset) / divisions, tempo) for tempo in _of_direction(child)]
    return marks


def _of_direction(direction: etree._Element) -> list[Tempo]:
    words = " ".join(filter(None, (text_of(word) for word in direction.iterfind("direction-type/words"))))
    found: list[Tempo] = []
    sound = direction if direction.tag == "sound" else direction.find("sound")
    quarters = _positive(sound.get("tempo")) if sound is not None else None
    metronome = next(
        filter(None, (_metronome(mark) for mark in direction.iterfind("direction-type/metronome"))), None
    )
    # A metronome mark is what is printed; what a playback says of the same place is second to it.
    if metronome is not None:
        found.append(Tempo(0.0, 0, metronome, "metronome", words))
    elif quarters is not None:
        found.append(Tempo(0.0, 0, quarters, "sound", words))
    elif words:
        found.append(Tempo(0.0, 0, None, "words", words))
    return found


def _metronome(element: etree._Element) -> float | None:
    unit = _UNITS.get(text_of(element.find("beat-unit")))
    per_minute = _NUMBER.search(text_of(element.find("per-minute")))
    if unit is None or per_minute is None:
        return None
    dots = 0
    for child in element:
        if child.tag == "beat-unit-dot":
            dots += 1
        elif child.tag == "per-minute":
            break
    return _positive(per_minute.group(0).replace(",", "."), unit * (2 - 0.5**dots))


def _positive(text: str | None, unit: float = 1.0) -> float | None:
    try:
        value = float(text) * unit if text else 0.0
    except ValueError:
        return None
    return value if 0 < value < 10000 else None
