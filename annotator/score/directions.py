"""What a ``<direction>`` or ``<sound>`` says: words, tempo, loudness, a change of instrument."""

from __future__ import annotations

import re
from dataclasses import dataclass

from lxml import etree

from annotator.score.names import sign_of
from annotator.score.numbers import STAVES, number_of, text_of, whole_of

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
_FASTEST = 10000.0


@dataclass(frozen=True, slots=True)
class Direction:
    """``words`` as one string, ``offset`` in divisions from where the element stands.

    ``quarters_per_minute`` from a metronome mark, else from ``<sound tempo>`` (``source`` says which:
    ``metronome`` or ``sound``), else None. ``dynamics``: MusicXML's names of dynamics (``f``, ``mp``).
    ``sounds``: the sounds of instruments changed to. ``staff``: the one it is for, 0 where it does not say.
    """

    words: str = ""
    offset: float = 0.0
    quarters_per_minute: float | None = None
    source: str = ""
    dynamics: tuple[str, ...] = ()
    sounds: tuple[str, ...] = ()
    staff: int = 0


def read_direction(element: etree._Element) -> Direction:
    """What ``element`` says, a ``<direction>`` or a ``<sound>`` of its own."""
    if element.tag == "sound":
        tempo = _positive(element.get("tempo"))
        source = "sound" if tempo is not None else ""
        return Direction("", _offset(element), tempo, source, (), _sounds(element))
    words: list[str] = []
    dynamics: tuple[str, ...] = ()
    sounds: tuple[str, ...] = ()
    metronome: float | None = None
    played: float | None = None
    offset = 0.0
    staff = 0
    for child in element:
        tag = child.tag
        if tag == "direction-type":
            for kind in child:
                if kind.tag == "words":
                    words.append(text_of(kind))
                elif kind.tag == "symbol":
                    words.append(sign_of(text_of(kind)))
                elif kind.tag == "metronome" and metronome is None:
                    metronome = _metronome(kind)
                elif kind.tag == "dynamics":
                    dynamics += tuple(mark.tag for mark in kind)
        elif tag == "offset":
            offset = number_of(child, 0.0)
        elif tag == "staff":
            staff = whole_of(child, 0, STAVES)
        elif tag == "sound":
            played = _positive(child.get("tempo"))
            sounds = _sounds(child)
    # A metronome mark is what is printed; what a playback says of the same place is second to it.
    tempo, source = metronome, "metronome"
    if metronome is None:
        tempo, source = played, "sound" if played is not None else ""
    return Direction(" ".join(filter(None, words)), offset, tempo, source, dynamics, sounds, staff)


def _offset(element: etree._Element) -> float:
    return number_of(element.find("offset"), 0.0)


def _sounds(sound: etree._Element) -> tuple[str, ...]:
    if not len(sound):
        return ()
    names = (text_of(change) for change in sound.iterfind("instrument-change/instrument-sound"))
    return tuple(filter(None, names))


def _metronome(element: etree._Element) -> float | None:
    unit: float | None = None
    dots = 0
    per_minute: re.Match[str] | None = None
    for child in element:
        if child.tag == "beat-unit" and unit is None:
            unit = _UNITS.get(text_of(child))
        elif child.tag == "beat-unit-dot" and per_minute is None:
            dots += 1
        elif child.tag == "per-minute":
            per_minute = _NUMBER.search(text_of(child))
    if unit is None or per_minute is None:
        return None
    return _positive(per_minute.group(0).replace(",", "."), unit * (2 - 0.5**dots))


def _positive(text: str | None, unit: float = 1.0) -> float | None:
    try:
        value = float(text) * unit if text else 0.0
    except ValueError:
        return None
    return value if 0 < value < _FASTEST else None
