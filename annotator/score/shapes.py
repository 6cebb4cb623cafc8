"""What a ``<note>`` says, apart from where it stands. Notes of the same text share one shape.

A part is full of notes that are written alike, so most need no reading at all.
"""

from __future__ import annotations

from functools import lru_cache
from math import floor
from typing import NamedTuple

from lxml import etree

from annotator.pitch import STEP_INDEX, Pitch
from annotator.score.model import Ornament
from annotator.score.numbers import ALTERS, OCTAVES, STAVES, number_of, text_of, whole, whole_of
from annotator.score.places import Inside
from annotator.score.printed import printed_on

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


_NO_STAFF = 0


class NoteShape(NamedTuple):
    """The content of a ``<note>``. (A tuple, as quick to make as to read.)

    ``pitch`` is None for rests and unpitched notes. ``unplayable`` says in words what pitch no valves
    play: ``pitch`` is then the one below, and ``fraction`` the semitones above that, or ``pitch`` is None
    where it cannot be read at all. ``odd`` says what else no music has. ``duration`` in
    divisions (0 for a grace note). ``slurs_on`` and ``slurs_off``: numbers of the slurs that start and
    stop here. ``inside``: see ``places.Inside``. ``line``: staff and voice. ``plain``: a pitch to play and
    nothing else to think of.
    """

    pitch: Pitch | None
    fraction: float
    unplayable: str
    duration: float
    voice: str
    staff: int
    chord: bool
    grace: bool
    cue: bool
    tied: bool
    breath: bool
    slurs_on: tuple[str, ...]
    slurs_off: tuple[str, ...]
    printed: tuple[str, ...]
    ornaments: tuple[Ornament, ...]
    lyrics: tuple[str, ...]
    inside: Inside
    line: tuple[int, str]
    plain: bool
    odd: tuple[str, ...] = ()


def read_shape(note: etree._Element, inside: Inside) -> NoteShape:
    """The shape of a ``<note>``."""
    chord = grace = cue = tied = False
    duration = 0.0
    voice, staff = "1", 1
    heard: tuple[Pitch | None, float, str] = _NO_PITCH
    notations: _Notations | None = None
    lyrics: list[str] = []
    for child in note:
        tag = child.tag
        if tag == "pitch":
            heard = _pitch(child)
        elif tag == "duration":
            duration = number_of(child, 0.0)
        elif tag == "voice":
            voice = (child.text or "").strip() or "1"
        elif tag == "type" or tag == "stem" or tag == "beam":  # noqa: PLR1714 - quicker, and most children
            continue
        elif tag == "notations":
            notations = notations or _Notations()
            notations.read(child)
        elif tag == "chord":
            chord = True
        elif tag == "grace":
            grace = True
        elif tag == "cue":
            cue = True
        elif tag == "staff":
            staff = whole_of(child, _NO_STAFF, STAVES)
        elif tag == "tie":
            tied = tied or child.get("type") == "stop"
        elif tag == "lyric":
            lyrics.append(child.get("number", "1"))
    odd = () if duration >= 0 and staff != _NO_STAFF else _odd(duration, staff)
    duration, staff = max(duration, 0.0), max(staff, 1)
    pitch, fraction, unplayable = heard
    said = notations or _NOTHING_SAID
    tied = tied or said.tied
    marked = bool(said.breath or said.slurs_on or said.slurs_off or lyrics)
    return NoteShape(
        pitch,
        fraction,
        unplayable,
        0.0 if grace else duration,
        voice,
        staff,
        chord,
        grace,
        cue,
        tied,
        said.breath,
        tuple(said.slurs_on),
        tuple(said.slurs_off),
        tuple(said.printed),
        tuple(said.ornaments),
        tuple(lyrics),
        inside,
        (staff, voice),
        plain=not (pitch is None or unplayable or chord or cue or tied or marked),
        odd=odd,
    )


def _odd(duration: float, staff: int) -> tuple[str, ...]:
    """What no music has, in words."""
    wrong_length = (f"a duration of {duration:g}",) if duration < 0 else ()
    return (*wrong_length, *(("a staff number that no part has",) if staff == _NO_STAFF else ()))


class _Notations:
    """What a note's ``<notations>`` say, added up."""

    def __init__(self) -> None:
        self.tied = self.breath = False
        self.slurs_on: list[str] = []
        self.slurs_off: list[str] = []
        self.printed: list[str] = []
        self.ornaments: list[Ornament] = []

    def read(self, notations: etree._Element) -> None:
        for element in notations:
            tag = element.tag
            if tag == "slur":
                kind, number = element.get("type"), element.get("number", "1")
                if kind == "start":
                    self.slurs_on.append(number)
                elif kind == "stop":
                    self.slurs_off.append(number)
            elif tag == "tied":
                self.tied = self.tied or element.get("type") == "stop"
            elif tag == "technical":
                self.printed += printed_on(element)
            elif tag == "articulations":
                self.breath = self.breath or any(child.tag in ("breath-mark", "caesura") for child in element)
            elif tag == "ornaments":
                self.ornaments += _ornaments(element)


_NOTHING_SAID = _Notations()
_NO_PITCH: tuple[Pitch | None, float, str] = (None, 0.0, "")


def pitch_of(note: etree._Element) -> Pitch | None:
    """The pitch of a ``<note>`` (of a microtone the one below), None when it has none that can be read."""
    element = note.find("pitch")
    return None if element is None else _pitch(element)[0]


def _pitch(element: etree._Element) -> tuple[Pitch | None, float, str]:
    """The pitch, the fraction of a semitone above it, and what it says when it is none that valves play."""
    step = alter = octave = ""
    for child in element:
        tag = child.tag
        if tag == "step":
            step = child.text or ""
        elif tag == "octave":
            octave = child.text or ""
        elif tag == "alter":
            alter = child.text or ""
    return _pitch_of(step, alter, octave)


@lru_cache(maxsize=1024)
def _pitch_of(step: str, alter: str, octave: str) -> tuple[Pitch | None, float, str]:
    step, alter, octave = step.strip(), alter.strip(), octave.strip()
    said = f"step {step or 'missing'}, alter {alter or 0}, octave {octave or 'missing'}"[:100]
    height = whole(octave, OCTAVES)
    try:
        # Some programs write numbers as their user's country does.
        semitones = float(alter.replace(",", ".") or 0)
    except ValueError:
        return None, 0.0, said
    if step.upper() not in STEP_INDEX or height is None or not ALTERS.has(semitones):
        return None, 0.0, said
    below = floor(semitones)
    pitch = Pitch(step.upper(), below, height)
    return pitch, semitones - below, _between(step.upper(), semitones, height) if semitones != below else ""


def _between(step: str, semitones: float, octave: int) -> str:
    """A pitch between two of the keyboard, in words: ``C5 a quarter tone lower``."""
    nearest = round(semitones) if abs(semitones) > 1 else 0
    off = semitones - nearest
    name = {0.25: "an eighth tone", 0.5: "a quarter tone", 0.75: "three eighths of a tone"}.get(abs(off))
    far = name or f"{abs(100 * off):.0f} cents"
    return f"{Pitch(step, nearest, octave).name} {far} {'higher' if off > 0 else 'lower'}"


def _ornaments(element: etree._Element) -> list[Ornament]:
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
    return found
