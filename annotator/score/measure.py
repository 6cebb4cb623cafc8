"""One measure of a part, read with a cursor in quarters."""

from __future__ import annotations

from collections.abc import Callable
from math import isfinite

from lxml import etree

from annotator.findings import Finding
from annotator.pitch import STEP_INDEX, Interval, Pitch
from annotator.score.lines import LineBuilder, Struck
from annotator.score.model import Clef, Key, Measure, Ornament, Sound, Transposition, Words

# Diatonic steps for a <transpose> that gives only the chromatic ones, as crooks are named:
# table index = semitones upward within the octave (F is +5 and three steps, and so on).
_STEPS_OF_SEMITONES = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)
_ACCIDENTALS = {
    "sharp": 1,
    "flat": -1,
    "natural": 0,
    "double-sharp": 2,
    "sharp-sharp": 2,
    "flat-flat": -2,
    "natural-sharp": 1,
    "natural-flat": -1,
}
_ORNAMENTS = frozenset(
    (
        "trill-mark",
        "turn",
        "delayed-turn",
        "inverted-turn",
        "delayed-inverted-turn",
        "vertical-turn",
        "inverted-vertical-turn",
        "shake",
        "mordent",
        "inverted-mordent",
        "tremolo",
    )
)
_pitches: dict[tuple[str, str, str], Pitch | None] = {}


def text_of(element: etree._Element | None) -> str:
    """An element's text with white space folded, or an empty string."""
    return "" if element is None or element.text is None else " ".join(element.text.split())


def number_of(element: etree._Element | None, default: float) -> float:
    """An element's text as a number; ``default`` when it is missing or none."""
    try:
        value = float(text_of(element)) if element is not None else default
    except ValueError:
        return default
    return value if isfinite(value) else default


class MeasureReader:
    """Reads a part's measures in order, and keeps what lasts from one to the next."""

    def __init__(self, part: str, lines: LineBuilder) -> None:
        self.part = part
        self.lines = lines
        self.measures: list[Measure] = []
        self.keys: list[Key] = []
        self.transpositions: list[Transposition] = []
        self.words: list[Words] = []
        self.sounds: list[Sound] = []
        self.clefs: list[Clef] = []
        self.findings: list[Finding] = []
        self._divisions = 1.0
        self._beats, self._beat_type = 4, 4
        self._start = 0.0
        self._place = 0
        self._cursor = self._furthest = self._last_onset = 0.0
        self._number = ""
        self._readers: dict[str, Callable[[etree._Element], None]] = {
            "note": self._note,
            "backup": self._backup,
            "forward": self._forward,
            "attributes": self._attributes,
            "direction": self._direction,
            "sound": self._sound,
        }

    def read(self, element: etree._Element, measure: etree._Element, place: int) -> None:
        """Read ``element`` (the music) of ``measure`` (its number); its first note is number ``place``."""
        self._place = place
        self._number = measure.get("number", str(len(self.measures) + 1))
        self._cursor = self._furthest = self._last_onset = 0.0
        self.lines.begin_measure(len(self.measures), self._start)
        readers = self._readers
        for child in element:
            reader = readers.get(child.tag)
            if reader is not None:
                reader(child)
        length = self._furthest
        full = self._beats * 4 / self._beat_type
        first = not self.measures
        if length == 0.0:
            # A measure with nothing in it (a measure repeat, say) still takes its time.
            length = full
        pickup = (
            full - length if length < full and (first or measure.get("implicit") == "yes") and first else 0.0
        )
        self.measures.append(Measure(self._number, self._start, length, self._beats, self._beat_type, pickup))
        self._start += length

    @property
    def _here(self) -> float:
        return self._start + self._cursor

    def _finding(self, code: str, message: str) -> None:
        self.findings.append(Finding(code, message, self.part, self._number))

    def _note(self, note: etree._Element) -> None:  # noqa: PLR0912 - one branch per child of <note>
        place = self._place
        self._place += 1
        chord = grace = cue = tied = tied_on = unpitched = False
        duration = 0.0
        voice, staff = "1", 1
        pitch: Pitch | None = None
        notations: list[etree._Element] = []
        for child in note:
            tag = child.tag
            if tag == "pitch":
                pitch = self._pitch(child)
                unpitched = pitch is None
            elif tag == "duration":
                duration = number_of(child, 0.0) / self._divisions
            elif tag == "voice":
                voice = child.text or "1"
            elif tag == "notations":
                notations.append(child)
            elif tag == "chord":
                chord = True
            elif tag == "grace":
                grace = True
            elif tag == "cue":
                cue = True
            elif tag == "staff":
                staff = int(number_of(child, 1))
            elif tag == "tie":
                tied = tied or child.get("type") == "stop"
                tied_on = tied_on or child.get("type") == "start"
            elif tag == "lyric":
                self.lines.lyric_numbers.add(child.get("number", "1"))
        if grace:
            duration = 0.0
        onset = self._last_onset if chord else self._cursor
        if not chord:
            self._last_onset = self._cursor
            if not grace:
                self._cursor += duration
                self._furthest = max(self._furthest, self._cursor)
        struck = Struck(place, pitch, onset, duration, voice, staff, chord, grace, cue, tied, tied_on)
        if notations:
            self._notations(notations, struck)
        self.lines.add(struck, unpitched=unpitched)

    def _pitch(self, element: etree._Element) -> Pitch | None:
        step = alter = octave = ""
        for child in element:
            if child.tag == "step":
                step = child.text or ""
            elif child.tag == "octave":
                octave = child.text or ""
            elif child.tag == "alter":
                alter = child.text or ""
        key = (step, alter, octave)
        try:
            pitch = _pitches[key]
        except KeyError:
            pitch = _pitches[key] = _make_pitch(*key)
        if pitch is None:
            said = f"step {step or 'missing'}, alter {alter or 0}, octave {octave or 'missing'}"
            self._finding("unplayable-pitch", f"a pitch that valves do not play ({said}) is left unmarked")
        return pitch

    def _notations(self, notations: list[etree._Element], struck: Struck) -> None:
        for group in notations:
            for element in group:
                tag = element.tag
                if tag == "slur":
                    kind, number = element.get("type"), element.get("number", "1")
                    if kind == "start":
                        struck.slurs_on.append(number)
                    elif kind == "stop":
                        struck.slurs_off.append(number)
                elif tag == "tied":
                    struck.tied = struck.tied or element.get("type") == "stop"
                    struck.tied_on = struck.tied_on or element.get("type") == "start"
                elif tag == "technical":
                    for fingering in element.iterchildren("fingering"):
                        struck.printed += (text_of(fingering),)
                elif tag == "articulations":
                    for child in element:
                        struck.breath = struck.breath or child.tag in ("breath-mark", "caesura")
                elif tag == "ornaments":
                    struck.ornaments += _ornaments(element)

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
        beats_in_all = 0
        for beats, unit in zip(element.findall("beats"), element.findall("beat-type"), strict=False):
            try:
                count = sum(int(word) for word in text_of(beats).split("+"))
                beat_type = int(text_of(unit))
                quarters += count * 4 / beat_type
            except (ValueError, ZeroDivisionError):
                self._finding("time", f"a time signature of {text_of(beats)}/{text_of(unit)} is ignored")
                return
            beats_in_all += count
        if quarters > 0:
            self._beats, self._beat_type = round(quarters * beat_type / 4), beat_type

    def _direction(self, direction: etree._Element) -> None:
        words = [text_of(word) for word in direction.iterfind("direction-type/words")]
        offset = number_of(direction.find("offset"), 0.0) / self._divisions
        if text := " ".join(word for word in words if word):
            self.words.append(Words(self._here + offset, len(self.measures), text))
        sound = direction.find("sound")
        if sound is not None:
            self._sound(sound)

    def _sound(self, sound: etree._Element) -> None:
        for change in sound.iterfind("instrument-change/instrument-sound"):
            if name := text_of(change):
                self.sounds.append(Sound(self._here, len(self.measures), name))


def _make_pitch(step: str, alter: str, octave: str) -> Pitch | None:
    try:
        semitones = float(alter.strip() or 0)
        if step.strip() not in STEP_INDEX or semitones != int(semitones) or abs(semitones) > 3:
            return None
        return Pitch(step.strip(), int(semitones), int(octave))
    except ValueError:
        return None


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


def _ornaments(element: etree._Element) -> tuple[Ornament, ...]:
    found: list[Ornament] = []
    for child in element:
        if child.tag == "accidental-mark" and found:
            alter = _ACCIDENTALS.get(text_of(child))
            last = found[-1]
            below = child.get("placement") == "below"
            found[-1] = Ornament(last.kind, last.above if below else alter, alter if below else last.below)
        elif child.tag in _ORNAMENTS:
            kind = child.tag if child.tag != "tremolo" else f"tremolo-{child.get('type', 'single')}"
            found.append(Ornament(kind))
    return tuple(found)
