"""Bars of one player's line cut out of a part written for the instrument, fit to stand alone.

Beams, tuplets, slurs and articulations are kept as the part has them; ties and slurs from before or to
after are cut, and accidentals printed anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from copy import deepcopy
from dataclasses import dataclass, field

from lxml import etree

from annotator.exercises.notation import child
from annotator.pitch import Pitch
from annotator.reading.accidentals import Staff, accidentals
from annotator.score.model import SAME_PLACE, Line
from annotator.score.numbers import number_of, text_of
from annotator.score.shapes import pitch_of
from annotator.score.walk import Walk, divisions_of

# What belongs to the page, to other players or to playback, and what may start in one bar and end in another.
_LEFT_OUT = (
    *(
        "chord",
        "accidental",
        "stem",
        "staff",
        "lyric",
        "play",
        "listen",
        "instrument",
        "cue",
        "notehead-text",
    ),
    *("footnote", "level"),
)
_SPANNING = ("wavy-line", "glissando", "slide", "fermata", "dynamics", "arpeggiate", "non-arpeggiate")


@dataclass(slots=True)
class Bar:
    """A cut-out bar: its elements, and how many divisions a quarter has in it."""

    elements: list[etree._Element]
    divisions: float


@dataclass(slots=True)
class _Moment:
    """What stands at one moment of a voice: the notes of a chord with their places in the file.

    ``onset`` and ``duration`` in quarters from the beginning of the measure.
    """

    onset: float
    duration: float
    notes: list[tuple[int, etree._Element]] = field(default_factory=list)


def divisions_in(measures: Iterable[etree._Element]) -> list[float]:
    """The divisions in force at the beginning of each measure's notes."""
    found = []
    divisions = 1.0
    for measure in measures:
        for attributes in measure.iterfind("attributes"):
            divisions = divisions_of(attributes) or divisions
        found.append(divisions)
    return found


def cut(
    measures: list[tuple[etree._Element, int, float]], line: Line, fifths: int, valves: Mapping[int, str]
) -> list[Bar]:
    """The bars of ``line`` in these ``measures``: (element, number of its first note, divisions) each.

    ``fifths`` is the key signature they will stand under. ``valves`` gives fingerings to print, by the
    place of the first note of the chord.
    """
    bars: list[Bar] = []
    staff = Staff()
    for measure, first_note, divisions in measures:
        elements: list[etree._Element] = []
        end = 0.0
        heads: list[tuple[etree._Element, Pitch, bool]] = []
        for moment in _moments(measure, first_note, line, divisions):
            if moment.onset > end + SAME_PLACE:
                gap = child(etree.Element("measure"), "forward")
                child(gap, "duration", f"{(moment.onset - end) * divisions:g}")
                elements.append(gap)
            note = _single(moment, line)
            elements.append(note)
            end = max(end, moment.onset) + moment.duration
            pitch = pitch_of(note)
            if pitch is not None:
                heads.append((note, pitch, note.find("tie[@type='stop']") is not None))
            if moment.notes[0][0] in valves and pitch is not None:
                _finger(note, valves[moment.notes[0][0]])
        if not bars:
            _cut_ties(heads)
        signs = accidentals([(pitch, tied) for _, pitch, tied in heads], fifths, staff)
        for (note, _, _), sign in zip(heads, signs, strict=True):
            if sign is not None:
                _after_type(note, child(etree.Element("note"), "accidental", sign.name))
        bars.append(Bar(elements, divisions))
    _close(bars)
    return bars


def _moments(measure: etree._Element, place: int, line: Line, divisions: float) -> list[_Moment]:
    """The moments of the line's voice in a measure whose first note is number ``place``.

    A player's line goes from voice to voice: its moments are those that strike or hold one of its notes.
    """
    if line.player:
        return _of_player(measure, place, line, divisions)
    found: list[_Moment] = []
    ours = False
    for tag, element, onset, duration in Walk(divisions).through(measure):
        if tag != "note":
            continue
        if element.find("chord") is None:
            voice = text_of(element.find("voice")) or "1"
            staff = int(number_of(element.find("staff"), 1))
            ours = (voice, staff) == (line.voice, line.staff)
            if ours:
                found.append(_Moment(onset, duration, [(place, element)]))
        elif ours:
            found[-1].notes.append((place, element))
        place += 1
    found.sort(key=lambda moment: moment.onset)
    return found


def _of_player(measure: etree._Element, place: int, line: Line, divisions: float) -> list[_Moment]:
    found: list[_Moment] = []
    struck = {note.chord for note in line.notes}
    playing = ""  # the voice whose note the player has just struck
    ours = False
    for tag, element, onset, duration in Walk(divisions).through(measure):
        if tag != "note":
            continue
        if element.find("chord") is None:
            voice = text_of(element.find("voice")) or "1"
            held = element.find("tie[@type='stop']") is not None and voice in (playing, line.voice)
            ours = place in struck or held
            if ours:
                playing = voice
                found.append(_Moment(onset, duration, [(place, element)]))
        elif ours:
            found[-1].notes.append((place, element))
        place += 1
    found.sort(key=lambda moment: moment.onset)
    return found


def _single(moment: _Moment, line: Line) -> etree._Element:
    """What the player of ``line`` has at a moment: the note that is the line's, else the one of its rank
    counted from the top, or a rest."""
    first = moment.notes[0][1]
    note = deepcopy(first)
    note.tail = None
    note.attrib.clear()
    struck = {each.place for each in line.notes} if line.player else ()
    heads = sorted(
        (
            (pitch, element, place in struck)
            for place, element in moment.notes
            if (pitch := pitch_of(element)) is not None and element.find("cue") is None
        ),
        key=lambda head: head[0].semitone,
        reverse=True,
    )
    own = [element for _, element, ours in heads if ours]
    for tag in _LEFT_OUT:
        for element in note.findall(tag):
            note.remove(element)
    for notations in note.findall("notations"):
        for tag in _SPANNING:
            for element in notations.findall(tag):
                notations.remove(element)
    for element in note.iter():
        for name in ("default-x", "default-y", "relative-x", "relative-y", "id"):
            if name in element.attrib:
                del element.attrib[name]
    voice = note.find("voice")
    if voice is not None:
        voice.text = "1"
    if not heads:
        return _silenced(note)
    chosen = own[0] if own else heads[min(line.rank, len(heads) - 1)][1]
    _take(note, chosen)
    return note


def _silenced(note: etree._Element) -> etree._Element:
    """A rest as long as ``note``, which another player's cue may have been."""
    if note.find("rest") is not None:
        return note
    for tag in ("tie", "notations", "beam", "notehead", "grace"):
        for element in note.findall(tag):
            note.remove(element)
    for tag in ("pitch", "unpitched"):
        for element in note.findall(tag):
            element.clear()
            element.tag = "rest"
    return note


def _take(note: etree._Element, chosen: etree._Element) -> None:
    """Give ``note`` the pitch and the ties of ``chosen``, another note of its chord."""
    pitch, own = chosen.find("pitch"), note.find("pitch")
    if pitch is None:
        return
    new = deepcopy(pitch)
    new.tail = None
    if own is None:
        return
    note.replace(own, new)
    for tie in note.findall("tie"):
        note.remove(tie)
    for tied in note.findall("notations/tied"):
        _drop(tied)
    duration = note.find("duration")
    place = note.index(duration if duration is not None else new) + 1
    for tie in reversed(chosen.findall("tie")):
        note.insert(place, etree.Element("tie", type=tie.get("type", "start")))
    kinds = [tied.get("type", "start") for tied in chosen.findall("notations/tied")]
    if kinds:
        notations = _notations(note)
        for kind in reversed(kinds):
            notations.insert(0, etree.Element("tied", type=kind))


def _cut_ties(heads: list[tuple[etree._Element, Pitch, bool]]) -> None:
    """The first bar's notes that were tied to from the bar before are struck now."""
    sounding: set[int] = set()
    for place, (note, pitch, tied) in enumerate(heads):
        if tied and pitch.semitone not in sounding:
            _drop_kind(note, "stop")
            heads[place] = (note, pitch, False)
        if note.find("tie[@type='start']") is not None:
            sounding.add(pitch.semitone)


def _close(bars: list[Bar]) -> None:
    """Take away slurs whose other end is outside, and ties that lead on."""
    opened: dict[str, etree._Element] = {}
    last: etree._Element | None = None
    for bar in bars:
        for note in bar.elements:
            for slur in note.findall("notations/slur"):
                number = slur.get("number", "1")
                if slur.get("type") == "start":
                    if number in opened:
                        _drop(opened[number])
                    opened[number] = slur
                elif slur.get("type") == "stop" and opened.pop(number, None) is None:
                    _drop(slur)
            if note.find("pitch") is not None:
                last = note
    for slur in opened.values():
        _drop(slur)
    if last is not None:
        _drop_kind(last, "start")


def _drop_kind(note: etree._Element, kind: str) -> None:
    for tie in note.findall(f"tie[@type='{kind}']"):
        note.remove(tie)
    for tied in note.findall(f"notations/tied[@type='{kind}']"):
        _drop(tied)


def _drop(element: etree._Element) -> None:
    parent = element.getparent()
    if parent is None:
        return
    parent.remove(element)
    above = parent.getparent()
    if not len(parent) and above is not None:
        above.remove(parent)


def _finger(note: etree._Element, valves: str) -> None:
    notations = _notations(note)
    technical = notations.find("technical")
    if technical is None:
        technical = child(notations, "technical")
    child(technical, "fingering", valves, placement="above")


def _notations(note: etree._Element) -> etree._Element:
    found = note.find("notations")
    return found if found is not None else child(note, "notations")


def _after_type(note: etree._Element, accidental: etree._Element) -> None:
    before = [
        element for element in note if element.tag in ("type", "dot", "voice", "tie", "duration", "pitch")
    ]
    note.insert(note.index(before[-1]) + 1, accidental)
