"""Practice exercises made from the awkward crossings of a part, as read on the trumpet in hand.

For each crossing: the two notes slowly, then in rhythms that part them unevenly, with another fingering
where there is one, then the bars around it from half the tempo up to the piece's own. After everything
played comes a rest as long as it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from lxml import etree

from annotator import __version__
from annotator.deciding import Prepared, prepare
from annotator.engraving.copy_source import parse
from annotator.engraving.drawing import signs
from annotator.errors import NothingToPractise
from annotator.exercises.choice import Place, Practice, choose
from annotator.exercises.excerpt import Bar, cut, divisions_in
from annotator.exercises.notation import (
    DIVISIONS,
    QUARTER,
    attributes,
    barline,
    beat_of,
    child,
    metronome,
    pairs,
    whole_rest,
    words,
)
from annotator.marking.rewrite import transpose_xml
from annotator.options import Options
from annotator.score.places import Places
from annotator.transposed import transposed_part

CAUTION = "Stop at once if it hurts or goes numb, and ask a teacher or a health professional."
UNFLAGGED = "No crossing of this part is flagged as awkward; these are its busiest moves."
SLOWLY = 60.0
"""Quarters a minute for the two notes alone, or the piece's own tempo where that is slower."""
STEPS = (0.5, 0.7, 0.85, 1.0)
"""Shares of the piece's tempo at which the bars are played: slow practice, common practice, no source."""
# The numbers of a pendulum metronome (common practice, no source; from memory).
_PENDULUM = (
    *range(40, 60, 2),
    *range(60, 72, 3),
    *range(72, 120, 4),
    *range(120, 144, 6),
    *range(144, 209, 8),
)
_RHYTHMS = (
    ("even", (2, 2)),
    ("dotted", (3, 1)),
    ("reversed", (1, 3)),
)
_MOST_BARS = 3
_SHORT = 4
_NEW_LINES = (STEPS[0], STEPS[2])


def exercises(data: bytes, options: Options | None = None, name: str = "") -> bytes:
    """A sheet of exercises (MusicXML) from a part's worst crossings on ``options.instrument``.

    ``name`` stands in the title where the file has no title of its own. Without a flagged crossing the
    busiest moves are taken, and the sheet says so. Raises NothingToPractise where the part has none
    either, and as ``annotate`` does.
    """
    options = options or Options()
    prepared = prepare(data, options)
    chosen = choose(prepared, options.profile)
    if not chosen:
        raise NothingToPractise(
            "no crossing of this part is awkward on the "
            f"{prepared.instrument.name}, and none is busy enough to make an exercise of; "
            "try another instrument, or a part with quicker notes"
        )
    sheet = _Sheet(prepared, parse(transposed_part(data, replace(options, mark=()), name)))
    for number, practice in enumerate(chosen, start=1):
        sheet.add(number, practice)
    return sheet.document(name)


def metronome_number(per_minute: float) -> float:
    """The nearest number of a pendulum metronome; whole numbers outside its range."""
    if not _PENDULUM[0] <= per_minute <= _PENDULUM[-1]:
        return float(max(1, round(per_minute)))
    return float(min(_PENDULUM, key=lambda mark: abs(mark - per_minute)))


@dataclass(slots=True)
class _Now:
    """What the reader of the sheet has in mind: divisions, key and time in force."""

    divisions: float = 0.0
    fifths: int | None = None
    time: tuple[int, int] | None = None


class _Sheet:
    """Takes exercises one after the other; ``document()`` gives the file."""

    def __init__(self, prepared: Prepared, written: etree._Element) -> None:
        self.prepared = prepared
        self.places: Places = prepared.places
        self.written = {part.get("id", ""): part.findall("measure") for part in written.iterfind("part")}
        self.measures: list[etree._Element] = []
        self._now = _Now()

    def add(self, number: int, practice: Practice) -> None:
        """The exercise on one crossing."""
        place = practice.places[0]
        fifths = place.part.at.line(place.line.line.number)(place.left_note.onset).read_fifths or 0
        tempo = self.prepared.clock.quarters_per_minute(place.left_note.onset)
        above = self._heading(number, practice, min(SLOWLY, metronome_number(tempo)))
        if number == 1:
            above.append(words(CAUTION, placement="below", italic=True))
            if practice.grade == 0:
                above.append(words(UNFLAGGED, placement="below", italic=True))
        self._two_notes(practice, fifths, above)
        self._bars_around(practice, fifths, tempo)
        self.measures[-1].append(barline("light-light"))

    def _heading(self, number: int, practice: Practice, tempo: float) -> list[etree._Element]:
        heading = f"{number}. {heading_of(practice, len(self.prepared.played))}"
        return [words(story_of(practice), italic=True), metronome(QUARTER, tempo, heading)]

    def _two_notes(self, practice: Practice, fifths: int, above: list[etree._Element]) -> None:
        valves = practice.ways[0].valves, practice.ways[1].valves
        pitches = practice.left, practice.reached

        def bar(lengths: tuple[int, int], fingered: tuple[str, str] = valves) -> list[etree._Element]:
            return pairs(pitches, fingered, lengths, fifths=fifths, slurred=practice.slurred)

        slow = [bar((8, 8)), bar((4, 4))]
        self._block(slow, fifths, (4, 4), above, DIVISIONS, new_system=True)
        for rhythm, lengths in _RHYTHMS:
            self._block([bar(lengths)], fifths, (4, 4), [words(rhythm, italic=True)], DIVISIONS)
        if practice.other is not None:
            other = practice.other[0].valves, practice.other[1].valves
            said = words(f"{practice.other_words}: {other[0]} to {other[1]}", italic=True)
            bars = [bar((4, 4), other), bar((2, 2), other)]
            self._block(bars, fifths, (4, 4), [said], DIVISIONS, new_system=True)

    def _bars_around(self, practice: Practice, fifths: int, tempo: float) -> None:
        place = practice.places[0]
        first, last = bars_of(place)
        measures = place.part.part.measures
        time = measures[first].beats, measures[first].beat_type
        beat = beat_of(*time)
        whole = round(tempo / beat.quarters)
        for share in STEPS:
            speed = float(whole) if share == STEPS[-1] else metronome_number(whole * share)
            said = {STEPS[0]: _range(place, first, last), STEPS[-1]: "In tempo"}.get(share, "")
            bars = self._excerpt(practice, place, fifths, first, last)
            self._block(
                [bar.elements for bar in bars],
                fifths,
                time,
                [metronome(beat, speed, said)],
                bars[0].divisions,
                new_system=share in _NEW_LINES or _is_long(bars),
            )

    def _excerpt(self, practice: Practice, place: Place, fifths: int, first: int, last: int) -> list[Bar]:
        part = place.part.part
        written = self.written[part.id]
        divisions = divisions_in(written[: last + 1])
        cuts = [
            (written[index], self.places.containers[part.containers[index]].first_note, divisions[index])
            for index in range(first, last + 1)
        ]
        valves = {place.note.chord: practice.ways[1].valves}
        if not practice.trill:
            valves[place.left_note.chord] = practice.ways[0].valves
        else:
            valves = {place.note.chord: practice.ways[0].valves}
        return cut(cuts, place.line.line, fifths, valves)

    def _block(
        self,
        bars: Sequence[Sequence[etree._Element]],
        fifths: int,
        time: tuple[int, int],
        directions: Sequence[etree._Element],
        divisions: float,
        *,
        new_system: bool = False,
    ) -> None:
        """Bars to play, and as many of rest."""
        for index, elements in enumerate(bars):
            measure = self._measure()
            if index == 0:
                if len(self.measures) == 1:
                    # The numbers in the headings are the part's: numbers of this sheet would contradict them.
                    child(child(measure, "print"), "measure-numbering", "none")
                elif new_system:
                    child(measure, "print", new_system="yes")
                self._attributes(measure, fifths, time, divisions)
                measure.extend(list(directions))
            measure.extend(list(elements))
        for _ in bars:
            self._measure().append(whole_rest(divisions, *time))

    def _measure(self) -> etree._Element:
        measure = etree.Element("measure", number=str(len(self.measures) + 1))
        self.measures.append(measure)
        return measure

    def _attributes(
        self, measure: etree._Element, fifths: int, time: tuple[int, int], divisions: float
    ) -> None:
        now, first = self._now, self._now.time is None
        if (divisions, fifths, time) == (now.divisions, now.fifths, now.time):
            return
        measure.append(
            attributes(
                divisions=divisions,
                fifths=fifths if fifths != now.fifths else None,
                time=time if time != now.time else None,
                treble=first,
                transpose=transpose_xml(self.prepared.instrument.transposition) if first else "",
            )
        )
        self._now = _Now(divisions, fifths, time)

    def document(self, name: str) -> bytes:
        """The whole sheet, UTF-8."""
        instrument = self.prepared.instrument
        root = etree.Element("score-partwise", version="4.0")
        title = self.prepared.score.title or name
        child(child(root, "work"), "work-title", f"Exercises from {title}" if title else "Exercises")
        encoding = child(child(root, "identification"), "encoding")
        child(encoding, "software", f"Crookline {__version__}")
        child(encoding, "supports", element="print", attribute="new-system", type="yes", value="yes")
        part = child(child(root, "part-list"), "score-part", id="P1")
        child(part, "part-name", instrument.name)
        sounding = child(part, "score-instrument", id="P1-I1")
        child(sounding, "instrument-name", instrument.name)
        child(sounding, "instrument-sound", instrument.sound)
        music = child(root, "part", id="P1")
        self.measures[-1][-1].find("bar-style").text = "light-heavy"  # type: ignore[union-attr]
        music.extend(self.measures)
        etree.indent(root)
        return etree.tostring(
            root,
            xml_declaration=True,
            encoding="UTF-8",
            doctype='<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
            '"http://www.musicxml.org/dtds/partwise.dtd">',
        )


def heading_of(practice: Practice, parts: int = 1) -> str:
    """ "Measure 12: 2-3 to 1-2, finger exchange"; with line and part where there are several of them.

    The part goes by its id, since its name may hold a crook, and this sheet is written for the instrument.
    """
    place = practice.places[0]
    left, reached = practice.ways
    where = [f"Part {place.part.part.id}"] if parts > 1 else []
    where += [f"line {place.line.line.number}"] if len(place.part.lines) > 1 else []
    said = ", ".join([*where, f"measure {place.measure}"])
    why = f", {' and '.join(practice.reasons)}" if practice.reasons else ""
    return f"{said[0].upper()}{said[1:]}: {left.valves} to {reached.valves}{why}"


def story_of(practice: Practice) -> str:
    """The notes, the grade and how often: "E♭4–F4, awkward; also in measures 14 and 20"."""
    grade = {1: ", mild", 2: ", awkward", 3: ", hard", 0: ", not flagged"}[practice.grade]
    here = practice.places[0].measure
    in_order = sorted(practice.places, key=lambda place: place.note.onset)
    others = [each for each in dict.fromkeys(place.measure for place in in_order) if each != here]
    also = ""
    if others:
        shown = ", ".join(others[:5]) + (" and more" if len(others) > 5 else "")
        also = f"; also in measure{'s' if len(others) > 1 else ''} {shown}"
    elif len(practice.places) > 1:
        also = f"; {len(practice.places)} times there"
    return f"{signs(practice.left.name)}–{signs(practice.reached.name)}{grade}{also}"


def bars_of(place: Place) -> tuple[int, int]:
    """The first and last index of the measures around a crossing.

    From the note left to the note arrived at; where that is one bar and the crossing lies at its end,
    the next bar too, so that the music leads somewhere.
    """
    measures, notes = place.part.part.measures, place.line.line.notes
    last = place.note.measure
    first = max(place.left_note.measure, last - _MOST_BARS + 1)
    following = notes[place.index + 1] if place.index + 1 < len(notes) else None
    near_end = place.note.offset + place.note.duration >= measures[last].length - 1.0
    if first == last and near_end and following is not None and following.measure == last + 1:
        last += 1
    # One time signature: bars of another one are left out.
    while first < place.note.measure and _time(place, first) != _time(place, place.note.measure):
        first += 1
    while last > place.note.measure and _time(place, last) != _time(place, first):
        last -= 1
    return first, last


def _time(place: Place, index: int) -> tuple[int, int]:
    measure = place.part.part.measures[index]
    return measure.beats, measure.beat_type


def _range(place: Place, first: int, last: int) -> str:
    measures = place.part.part.measures
    if first == last:
        return f"Measure {measures[first].number}"
    return f"Measures {measures[first].number}–{measures[last].number}"


def _is_long(bars: Sequence[Bar]) -> bool:
    """Whether bars and their rests fill a line, so that two such blocks would not go on one."""
    return len(bars) > 1 and sum(len(bar.elements) for bar in bars) > 2 * _SHORT
