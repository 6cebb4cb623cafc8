"""Measures of an exercise as MusicXML elements: notes, rests, headings, metronome marks."""

from __future__ import annotations

from dataclasses import dataclass

from lxml import etree

from annotator.pitch import Pitch
from annotator.reading.accidentals import accidentals

DIVISIONS = 4
"""Parts of a quarter in the measures written here."""
# Note values in divisions: MusicXML's type and the number of dots.
_TYPES = {1: ("16th", 0), 2: ("eighth", 0), 3: ("eighth", 1), 4: ("quarter", 0), 8: ("half", 0)}
_HOOKS = {"even": ("", ""), "dotted": ("", "backward hook"), "reversed": ("forward hook", "")}


@dataclass(frozen=True, slots=True)
class Beat:
    """What a metronome mark counts: a MusicXML note type, dotted or not, and its length in quarters."""

    unit: str
    dotted: bool
    quarters: float


QUARTER = Beat("quarter", False, 1.0)


def beat_of(beats: int, beat_type: int) -> Beat:
    """The beat a time signature is counted in: dotted quarters in 6/8, halves in 2/2."""
    if beat_type == 8 and beats % 3 == 0:
        return Beat("quarter", True, 1.5)
    if beat_type >= 8:
        return Beat("eighth", False, 0.5)
    return Beat("half", False, 2.0) if beat_type == 2 else QUARTER


def child(parent: etree._Element, tag: str, text: str = "", **attributes: str) -> etree._Element:
    """A new last child; a ``_`` in an attribute's name stands for ``-``."""
    element = etree.SubElement(parent, tag, {key.replace("_", "-"): said for key, said in attributes.items()})
    if text:
        element.text = text
    return element


def words(text: str, *, placement: str = "above", bold: bool = False, italic: bool = False) -> etree._Element:
    """A ``<direction>`` of words."""
    direction = etree.Element("direction", placement=placement)
    style = {"font_weight": "bold"} if bold else {"font_style": "italic"} if italic else {}
    child(child(direction, "direction-type"), "words", text, **style)
    return direction


def metronome(beat: Beat, per_minute: float, before: str = "") -> etree._Element:
    """A ``<direction>`` with a metronome mark, words ``before`` it, heard in playback too."""
    direction = etree.Element("direction", placement="above")
    if before:
        child(child(direction, "direction-type"), "words", before)
    mark = child(child(direction, "direction-type"), "metronome")
    child(mark, "beat-unit", beat.unit)
    if beat.dotted:
        child(mark, "beat-unit-dot")
    child(mark, "per-minute", f"{per_minute:g}")
    child(direction, "sound", tempo=f"{per_minute * beat.quarters:g}")
    return direction


def attributes(
    *,
    divisions: float,
    fifths: int | None = None,
    time: tuple[int, int] | None = None,
    treble: bool = False,
    transpose: str = "",
) -> etree._Element:
    """An ``<attributes>`` of what is given. ``transpose`` is a ``<transpose>`` as XML, or empty."""
    element = etree.Element("attributes")
    child(element, "divisions", f"{divisions:g}")
    if fifths is not None:
        child(child(element, "key"), "fifths", str(fifths))
    if time is not None:
        signature = child(element, "time")
        child(signature, "beats", str(time[0]))
        child(signature, "beat-type", str(time[1]))
    if treble:
        clef = child(element, "clef")
        child(clef, "sign", "G")
        child(clef, "line", "2")
    if transpose:
        element.append(etree.fromstring(transpose))
    return element


def whole_rest(divisions: float, beats: int, beat_type: int) -> etree._Element:
    """A rest for a whole measure."""
    note = etree.Element("note")
    child(note, "rest", measure="yes")
    child(note, "duration", f"{divisions * beats * 4 / beat_type:g}")
    child(note, "voice", "1")
    return note


def pairs(
    pitches: tuple[Pitch, Pitch],
    valves: tuple[str, str],
    lengths: tuple[int, int],
    *,
    fifths: int,
    slurred: bool,
) -> list[etree._Element]:
    """A measure of 4/4: the two notes again and again, each pair as long as ``lengths`` (in divisions).

    The first pair is fingered. The lengths of a pair must go into 16 divisions without remainder.
    """
    count = 4 * DIVISIONS // sum(lengths)
    heard = [pitches[place % 2] for place in range(2 * count)]
    signs = accidentals([(pitch, False) for pitch in heard], fifths)
    kind = "even" if lengths[0] == lengths[1] else "dotted" if lengths[0] > lengths[1] else "reversed"
    notes = []
    for place, (pitch, sign) in enumerate(zip(heard, signs, strict=True)):
        second = place % 2
        length = lengths[second]
        note = etree.Element("note")
        note.append(pitch_element(pitch))
        child(note, "duration", str(length))
        child(note, "voice", "1")
        name, dots = _TYPES[length]
        child(note, "type", name)
        for _ in range(dots):
            child(note, "dot")
        if sign is not None:
            child(note, "accidental", sign.name)
        if length < DIVISIONS:
            _beams(note, place, kind)
        notations = child(note, "notations")
        if slurred:
            child(notations, "slur", type="stop" if second else "start", number="1")
        if place < 2:
            child(child(notations, "technical"), "fingering", valves[second], placement="above")
        if not len(notations):
            note.remove(notations)
        notes.append(note)
    return notes


def pitch_element(pitch: Pitch) -> etree._Element:
    """A ``<pitch>``."""
    element = etree.Element("pitch")
    child(element, "step", pitch.step)
    if pitch.alter:
        child(element, "alter", str(pitch.alter))
    child(element, "octave", str(pitch.octave))
    return element


def _beams(note: etree._Element, place: int, kind: str) -> None:
    """Even notes are beamed in fours, unlike pairs in twos."""
    group = 4 if kind == "even" else 2
    within = place % group
    child(note, "beam", "begin" if within == 0 else "end" if within == group - 1 else "continue", number="1")
    if hook := _HOOKS[kind][place % 2]:
        child(note, "beam", hook, number="2")


def barline(style: str) -> etree._Element:
    """A right ``<barline>``."""
    line = etree.Element("barline", location="right")
    child(line, "bar-style", style)
    return line
