"""One measure of a part, read with a cursor in quarters."""

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
        self._divisions = 1.0
        self._beats, self._beat_type = 4, 4
        self._start = 0.0
        self._text = text
        self._notes = notes
        self._shapes: dict[str, NoteShape] = {}
        self._cursor = self._furthest = 0.0
        self._number = ""
        self._readers: dict[str, Callable[[etree._Element], None]] = {
            "backup": self._backup,
            "forward": self._forward,
            "attributes": self._attributes,
            "direction": self._direction,
            "sound": self._direction,
        }

    def read(self, element: etree._Element, measure: etree._Element, first_note: int) -> None:
        """Read ``element`` (the music) of ``measure`` (its number); its first note is ``first_note``."""
        self._number = measure.get("number") or str(len(self.measures) + 1)
        self._cursor = self._furthest = 0.0
        length = self._music(element, first_note)
        full = self._beats * 4 / self._beat_type
        first = not self.measures
        if length == 0.0:
            # A measure with nothing in it (a measure repeat, say) still takes its time.
            length = full
        pickup = full - length if first and length < full else 0.0
        self.measures.append(Measure(self._number, self._start, length, self._beats, self._beat_type, pickup))
        self._start += length

    def _music(self, element: etree._Element, number: int) -> float:
        """Read what a measure holds, its first note being ``number``; gives its length in quarters."""
        readers, shapes, places, text = self._readers, self._shapes, self._notes, self._text
        struck: list[Struck] = []
        make = tuple.__new__
        cursor = furthest = last_onset = 0.0
        divisions = self._divisions
        for child in element:
            tag = child.tag
            if tag == "note":
                _, _, opened, end = places[number]
                content = text[opened:end]
                shape = shapes.get(content)
                if shape is None:
                    shape = shapes[content] = read_shape(child, inside_note(content))
                duration = shape.duration / divisions
                if not shape.chord:
                    last_onset = cursor
                    cursor += duration
                    if cursor > furthest:  # noqa: PLR1730 - a call less for every note
                        furthest = cursor
                if shape.unplayable:
                    self._unplayable(shape)
                struck.append(make(Struck, (number, shape, last_onset, duration)))
                number += 1
            elif tag in readers:
                self._cursor, self._furthest = cursor, furthest
                readers[tag](child)
                cursor, furthest, divisions = self._cursor, self._furthest, self._divisions
        self.lines.add_measure(len(self.measures), self._start, struck)
        return furthest

    @property
    def _here(self) -> float:
        return self._start + self._cursor

    def _finding(self, code: str, message: str) -> None:
        self.findings.append(Finding(code, message, self.part, self._number))

    def _unplayable(self, shape: NoteShape) -> None:
        self._finding(
            "unplayable-pitch", f"a pitch that valves do not play ({shape.unplayable}) is left unmarked"
        )

    def _backup(self, element: etree._Element) -> None:
        self._cursor = max(0.0, self._cursor - number_of(element.find("duration"), 0.0) / self._divisions)

    def _forward(self, element: etree._Element) -> None:
        self._cursor += number_of(element.find("duration"), 0.0) / self._divisions
        self._furthest = max(self._furthest, self._cursor)

    def _attributes(self, attributes: etree._Element) -> None:
        here, measure = self._here, len(self.measures)
        for element in attributes:
            tag = element.tag
            if tag == "divisions":
                divisions = number_of(element, 0.0)
                if divisions > 0:
                    self._divisions = divisions
                else:
                    self._finding("divisions", f"divisions of {text_of(element)!r} are ignored")
            elif tag == "key":
                fifths = element.find("fifths")
                if fifths is not None:
                    self.keys.append(
                        Key(here, measure, int(number_of(fifths, 0)), text_of(element.find("mode")))
                    )
                elif element.find("key-step") is not None:
                    self._finding("key", "a key signature of single accidentals is not transposed")
            elif tag == "time":
                self._time(element)
            elif tag == "clef":
                sign = text_of(element.find("sign"))
                line = int(number_of(element.find("line"), 2))
                octave = int(number_of(element.find("clef-octave-change"), 0))
                staff = int(element.get("number", "1")) if element.get("number", "1").isdigit() else 1
                self.clefs.append(Clef(here, measure, sign, line, octave, staff))
            elif tag == "transpose":
                self.transpositions.append(Transposition(here, measure, _interval(element)))

    def _time(self, element: etree._Element) -> None:
        quarters = 0.0
        beat_type = 4
        for beats, unit in zip(element.findall("beats"), element.findall("beat-type"), strict=False):
            try:
                count = sum(int(word) for word in text_of(beats).split("+"))
                beat_type = int(text_of(unit))
                quarters += count * 4 / beat_type
            except (ValueError, ZeroDivisionError):
                self._finding("time", f"a time signature of {text_of(beats)}/{text_of(unit)} is ignored")
                return
        if quarters > 0:
            self._beats, self._beat_type = round(quarters * beat_type / 4), beat_type

    def _direction(self, element: etree._Element) -> None:
        direction = read_direction(element)
        measure = len(self.measures)
        position = self._here + direction.offset / self._divisions
        if direction.words:
            self.words.append(Words(position, measure, direction.words))
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
