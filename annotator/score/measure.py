"""The measures of a part, read in order."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from lxml import etree

from annotator.findings import Finding
from annotator.pitch import Interval
from annotator.score.directions import read_direction
from annotator.score.lines import LineBuilder, Struck
from annotator.score.model import Clef, Key, Measure, Sound, Tempo, Transposition, Words
from annotator.score.numbers import (
    CLEF_LINES,
    CLEF_OCTAVES,
    DIVISIONS,
    FIFTHS,
    LONGEST_NUMBER,
    LONGEST_TEXT,
    QUARTERS,
    SEMITONES,
    STAVES,
    STEPS,
    number_of,
    text_of,
    whole,
    whole_of,
)
from annotator.score.places import Element, inside_note
from annotator.score.shapes import NoteShape, read_shape
from annotator.score.tempo_marks import tempo_of
from annotator.score.walk import Time, Walk, divisions_of, span_of, time_of

# Diatonic steps for a <transpose> that gives only the chromatic ones, as crooks are named:
# table index = semitones upward within the octave (F is +5 and three steps, and so on).
_NONE = 99
_STEPS_OF_SEMITONES = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)


class MeasureReader:
    """Reads a part's measures in order, and keeps what lasts from one to the next."""

    def __init__(self, part: str, text: str, notes: Sequence[Element]) -> None:
        self.part = part
        self.lines = LineBuilder(part)
        self.measures: list[Measure] = []
        self.keys: list[Key] = []
        self.transpositions: list[Transposition] = []
        self.words: list[Words] = []
        self.sounds: list[Sound] = []
        self.clefs: list[Clef] = []
        self.tempos: list[Tempo] = []
        self.findings: list[Finding] = []
        self._walk = Walk()
        self._time = Time(4, 4)
        self._start = 0.0
        self._text = text
        self._notes = notes
        self._shapes: dict[str, NoteShape] = {}
        self._number = ""
        self._readers: dict[str, Callable[[etree._Element, float], None]] = {
            "attributes": self._attributes,
            "direction": self._direction,
            "sound": self._direction,
        }

    def read(self, element: etree._Element, measure: etree._Element, first_note: int) -> None:
        """Read ``element`` (the music) of ``measure`` (its number); its first note is ``first_note``."""
        self._number = (measure.get("number") or str(len(self.measures) + 1))[:LONGEST_NUMBER]
        self._music(element, first_note)
        length, full = self._walk.length, self._time.quarters
        first = not self.measures
        if length == 0.0:
            # A measure with nothing in it (a measure repeat, say) still takes its time.
            length = full
        pickup = full - length if first and length < full else 0.0
        self.measures.append(Measure(self._number, self._start, length, *self._time, pickup))
        self._start += length

    def _music(self, element: etree._Element, first_note: int) -> None:
        """Read what a measure holds, its first note being ``first_note``."""
        readers, shapes, places, text = self._readers, self._shapes, self._notes, self._text
        make, start, longest = tuple.__new__, self._start, QUARTERS.most
        struck: list[Struck] = []
        number = first_note
        shape: NoteShape

        def read_note(note: etree._Element) -> tuple[float, bool]:
            # The same text says the same, so it is read once.
            nonlocal shape
            _, _, opened, end = places[number]
            content = text[opened:end]
            found = shapes.get(content)
            if found is None:
                found = shapes[content] = read_shape(note, inside_note(content))
            shape = found
            return found.duration, found.chord

        for tag, child, onset, duration in self._walk.steps(element, read_note, span_of, divisions_of):
            if tag == "note":
                if shape.unplayable or shape.odd or duration == longest:
                    self._odd(shape, duration)
                struck.append(make(Struck, (number, shape, onset, duration)))
                number += 1
            elif tag in readers:
                readers[tag](child, start + onset)
        self.lines.add_measure(len(self.measures), start, struck)

    def _finding(self, code: str, message: str) -> None:
        self.findings.append(Finding(code, message, self.part, self._number))

    def _odd(self, shape: NoteShape, duration: float) -> None:
        if shape.pitch is None and shape.unplayable:
            self._finding(
                "unreadable-pitch", f"a pitch that is none ({shape.unplayable}) is left unmarked; correct it"
            )
        elif shape.unplayable:
            self._finding(
                "unplayable-pitch",
                f"{shape.unplayable}: no valves play it; it is left unmarked, find it by ear",
            )
        for what in shape.odd:
            self._finding("number", f"{what} is ignored")
        if duration == QUARTERS.most:
            self._finding("number", f"a note of {duration:,.0f} quarters and more is ignored")

    def _attributes(self, attributes: etree._Element, here: float) -> None:
        measure = len(self.measures)
        for element in attributes:
            tag = element.tag
            if tag == "divisions":
                if not DIVISIONS.has(number_of(element, 0.0)):
                    self._finding("divisions", f"divisions of {text_of(element)[:20]!r} are ignored")
            elif tag == "key":
                self._key(element, here)
            elif tag == "time":
                self._signature(element)
            elif tag == "clef":
                sign = text_of(element.find("sign"))
                line = whole_of(element.find("line"), 2, CLEF_LINES)
                octave = whole_of(element.find("clef-octave-change"), 0, CLEF_OCTAVES)
                self.clefs.append(Clef(here, measure, sign, line, octave, _staff_of(element) or 1))
            elif tag == "transpose":
                interval = interval_of(element)
                if SEMITONES.has(interval.chromatic) and STEPS.has(interval.diatonic):
                    self.transpositions.append(Transposition(here, measure, interval, _staff_of(element)))
                else:
                    self._finding("transpose", "a transposition of more than five octaves is ignored")

    def _key(self, element: etree._Element, here: float) -> None:
        fifths = element.find("fifths")
        if fifths is None:
            if element.find("key-step") is not None:
                self._finding("key", "a key signature of single accidentals is not transposed")
            return
        count = whole_of(fifths, _NONE, FIFTHS)
        if count == _NONE:
            self._finding("key", f"a key signature of {text_of(fifths)[:20]!r} fifths is ignored")
            return
        mode = text_of(element.find("mode"))
        self.keys.append(Key(here, len(self.measures), count, mode, _staff_of(element)))

    def _signature(self, element: etree._Element) -> None:
        try:
            self._time = time_of(element) or self._time
        except ValueError as error:
            self._finding("time", f"{error} is ignored")

    def _direction(self, element: etree._Element, here: float) -> None:
        direction = read_direction(element)
        measure = len(self.measures)
        position = max(0.0, here + self._walk.shift(direction.offset))
        if direction.words:
            self.words.append(Words(position, measure, direction.words[:LONGEST_TEXT], direction.staff))
        tempo = tempo_of(direction, position, measure)
        if tempo is not None:
            self.tempos.append(tempo)
        for name in direction.sounds:
            self.sounds.append(Sound(position, measure, name))


def interval_of(element: etree._Element) -> Interval:
    """What a ``<transpose>`` says: sounding minus written, octave change added in."""
    octaves = int(number_of(element.find("octave-change"), 0))
    chromatic = round(number_of(element.find("chromatic"), 0))
    steps = element.find("diatonic")
    if steps is not None:
        diatonic = round(number_of(steps, 0))
    else:
        up, semitones = divmod(abs(chromatic), 12)
        diatonic = (up * 7 + _STEPS_OF_SEMITONES[semitones]) * (1 if chromatic >= 0 else -1)
    return Interval(diatonic + 7 * octaves, chromatic + 12 * octaves)


def _staff_of(element: etree._Element) -> int:
    """The staff that a child of ``<attributes>`` is for, 0 for all."""
    return whole(element.get("number", ""), STAVES) or 0
