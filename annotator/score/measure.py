"""The measures of a part, read in order."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from lxml import etree

from annotator.findings import Finding
from annotator.pitch import Interval
from annotator.score.directions import read_direction
from annotator.score.lines import LineBuilder, Struck
from annotator.score.model import Clef, Key, Measure, Sound, Tempo, Transposition, Words
from annotator.score.places import Element, inside_note
from annotator.score.shapes import NoteShape, number_of, read_shape, text_of
from annotator.score.tempo_marks import tempo_of
from annotator.score.walk import Time, Walk, divisions_of, span_of, time_of

# Diatonic steps for a <transpose> that gives only the chromatic ones, as crooks are named:
# table index = semitones upward within the octave (F is +5 and three steps, and so on).
_STEPS_OF_SEMITONES = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)


class MeasureReader:
    """Reads a part's measures in order, and keeps what lasts from one to the next."""

    def __init__(self, part: str, text: str, notes: Sequence[Element]) -> None:
        self.part = part
        self.lines = LineBuilder()
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
        self._number = measure.get("number") or str(len(self.measures) + 1)
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
        make, start = tuple.__new__, self._start
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
                if shape.unplayable:
                    self._unplayable(shape)
                struck.append(make(Struck, (number, shape, onset, duration)))
                number += 1
            elif tag in readers:
                readers[tag](child, start + onset)
        self.lines.add_measure(len(self.measures), start, struck)

    def _finding(self, code: str, message: str) -> None:
        self.findings.append(Finding(code, message, self.part, self._number))

    def _unplayable(self, shape: NoteShape) -> None:
        self._finding(
            "unplayable-pitch", f"a pitch that valves do not play ({shape.unplayable}) is left unmarked"
        )

    def _attributes(self, attributes: etree._Element, here: float) -> None:
        measure = len(self.measures)
        for element in attributes:
            tag = element.tag
            if tag == "divisions":
                if number_of(element, 0.0) <= 0:
                    self._finding("divisions", f"divisions of {text_of(element)!r} are ignored")
            elif tag == "key":
                fifths = element.find("fifths")
                if fifths is not None:
                    mode = text_of(element.find("mode"))
                    self.keys.append(Key(here, measure, int(number_of(fifths, 0)), mode, _staff_of(element)))
                elif element.find("key-step") is not None:
                    self._finding("key", "a key signature of single accidentals is not transposed")
            elif tag == "time":
                self._signature(element)
            elif tag == "clef":
                sign = text_of(element.find("sign"))
                line = int(number_of(element.find("line"), 2))
                octave = int(number_of(element.find("clef-octave-change"), 0))
                self.clefs.append(Clef(here, measure, sign, line, octave, _staff_of(element) or 1))
            elif tag == "transpose":
                self.transpositions.append(
                    Transposition(here, measure, _interval(element), _staff_of(element))
                )

    def _signature(self, element: etree._Element) -> None:
        try:
            self._time = time_of(element) or self._time
        except ValueError as error:
            self._finding("time", f"{error} is ignored")

    def _direction(self, element: etree._Element, here: float) -> None:
        direction = read_direction(element)
        measure = len(self.measures)
        position = here + direction.offset / self._walk.divisions
        if direction.words:
            self.words.append(Words(position, measure, direction.words, direction.staff))
        tempo = tempo_of(direction, position, measure)
        if tempo is not None:
            self.tempos.append(tempo)
        for name in direction.sounds:
            self.sounds.append(Sound(position, measure, name))


def _interval(element: etree._Element) -> Interval:
    octaves = int(number_of(element.find("octave-change"), 0))
    chromatic = int(number_of(element.find("chromatic"), 0))
    steps = element.find("diatonic")
    if steps is not None:
        diatonic = int(number_of(steps, 0))
    else:
        up, semitones = divmod(abs(chromatic), 12)
        diatonic = (up * 7 + _STEPS_OF_SEMITONES[semitones]) * (1 if chromatic >= 0 else -1)
    return Interval(diatonic + 7 * octaves, chromatic + 12 * octaves)


def _staff_of(element: etree._Element) -> int:
    """The staff that a child of ``<attributes>`` is for, 0 for all."""
    number = element.get("number", "")
    return int(number) if number.isdecimal() else 0
