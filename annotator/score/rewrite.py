"""A measure's text rewritten for what the player reads: new pitches, accidentals, key; else as it was.

Works on the text of the original so that rhythm, beams, tuplets, slurs, ties, articulations and
dynamics are carried over without being understood. What depends on where a note stands on the staff
(stems, positions) is left to the notation program.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from xml.sax.saxutils import escape

from annotator.pitch import Interval, Pitch
from annotator.score.places import Container, Element

_TAG_REST = r"""(?=[\s/>])(?:[^>"']|"[^"]*"|'[^']*')*"""


def _elements(*names: str) -> str:
    """A pattern for whole elements of these names, with the white space before them."""
    return rf"\s*<({'|'.join(names)}){_TAG_REST}(?:(?<=/)>|>.*?</\1\s*>)"


# Where a thing stood on its page, which is no longer true of it.
_POSITIONS = r"""\s(?:default-[xy]|relative-[xy]|bezier-[xy]2?|bezier-offset2?)\s*=\s*(?:"[^"]*"|'[^']*')"""
# What only one element may have, and how loud it is played back.
_OWN = r"""\s(?:id|dynamics|end-dynamics|attack|release|pizzicato|width)\s*=\s*(?:"[^"]*"|'[^']*')"""
_POSITION = re.compile(_POSITIONS)
_POSITION_OR_OWN = re.compile(f"{_POSITIONS}|{_OWN}")
_OF_STAFF_PLACE = re.compile(f"{_elements('accidental', 'stem')}|{_POSITIONS}", re.DOTALL)
_OF_CUE = re.compile(
    _elements("accidental", "stem", "tie", "instrument", "lyric", "technical", "play", "listen", "sound")
    + f"|{_POSITIONS}|{_OWN}",
    re.DOTALL,
)
_FINGERING = re.compile(_elements("fingering"), re.DOTALL)
_PITCH = re.compile(r"<pitch(?=[\s>]).*?</pitch\s*>", re.DOTALL)
_CUE_PLACE = re.compile(rf"\s*<note{_TAG_REST}>(\s*<grace{_TAG_REST}(?:(?<=/)>|>\s*</grace\s*>))?", re.DOTALL)
_AFTER_ACCIDENTAL = re.compile(
    r"\s*<(?:time-modification|stem|notehead|notehead-text|staff|beam|notations|lyric|play|listen)(?=[\s/>])"
    r"|\s*</note\s*>"
)
_IS_CUE = re.compile(r"<cue\s*(?:/>|>)")
_CHORD = re.compile(r"<chord\s*(?:/>|>)")
_GRACE = re.compile(r"<grace(?=[\s/>])")
_EMPTY_TECHNICAL = re.compile(r"\s*<technical\s*>\s*</technical\s*>")
_TYPE = re.compile(r"<type(?=[\s>])[^>]*>")
_DURATION = re.compile(r"<duration(?=[\s>]).*?</duration\s*>", re.DOTALL)
_VOICE = re.compile(r"<voice(?=[\s>]).*?</voice\s*>", re.DOTALL)
_STAFF = re.compile(r"<staff(?=[\s>]).*?</staff\s*>", re.DOTALL)
_ATTRIBUTE_ORDER = (
    "divisions|key|time|staves|part-symbol|instruments|clef|staff-details|transpose|for-part"
    "|directive|measure-style"
)
_ATTRIBUTE_CHILD = re.compile(rf"<({_ATTRIBUTE_ORDER}){_TAG_REST}(?:(?<=/)>|>.*?</\1\s*>)", re.DOTALL)
_KEPT_ATTRIBUTES = frozenset(("divisions", "time", "staves", "clef", "measure-style"))
_OF_READING = frozenset(("key", "transpose", "for-part"))
_PLAYED_DIRECTION = re.compile(r"<(?:dynamics|wedge|octave-shift|dashes)(?=[\s/>])")

# The order of children of <attributes> (MusicXML 4.0), to put new ones in their place.
_RANK = {name: rank for rank, name in enumerate(_ATTRIBUTE_ORDER.split("|"))}


@dataclass(frozen=True, slots=True)
class Style:
    """How a rewritten part differs from its original.

    ``cue``: small silent notes, and only what a player reads for pitch and rhythm. ``fingering``:
    keep fingerings that were printed (they were for another reading, so normally not).
    """

    cue: bool
    fingering: bool = False


CUE = Style(cue=True)
WHOLE = Style(cue=False)


def pitch_xml(pitch: Pitch) -> str:
    """A ``<pitch>`` element."""
    alter = f"<alter>{pitch.alter}</alter>" if pitch.alter else ""
    return f"<pitch><step>{pitch.step}</step>{alter}<octave>{pitch.octave}</octave></pitch>"


def note_xml(text: str, pitch: Pitch | None, accidental: str, style: Style) -> str:
    """A note's text with ``pitch`` (None for a rest, which keeps its own) and ``accidental`` (XML, or "")."""
    if style.cue and _IS_CUE.search(text):
        return _silence(text)
    new = (_OF_CUE if style.cue else _OF_STAFF_PLACE).sub("", text)
    if not style.cue and not style.fingering and "<fingering" in new:
        new = _EMPTY_TECHNICAL.sub("", _FINGERING.sub("", new))
    if pitch is not None:
        new = _PITCH.sub(pitch_xml(pitch), new, count=1)
    if accidental:
        place = _AFTER_ACCIDENTAL.search(new)
        if place is not None:
            new = f"{new[: place.start()]}{accidental}{new[place.start() :]}"
    if style.cue:
        place = _CUE_PLACE.match(new)
        if place is not None:
            new = f"{new[: place.end()]}<cue/>{new[place.end() :]}"
            if not place.group(1):
                # The staff is small already: a cue note on it is drawn at the staff's own size.
                new = _TYPE.sub('<type size="full">', new, count=1)
    return new


def _silence(text: str) -> str:
    """Nothing, for as long as a cue note that was somebody else's lasts."""
    if _CHORD.search(text) or _GRACE.search(text):
        return ""
    found = (pattern.search(text) for pattern in (_DURATION, _VOICE, _STAFF))
    duration, voice, staff = (match.group(0) if match else "" for match in found)
    return f'<note print-object="no"><cue/><rest/>{duration}{voice}{staff}</note>'


def attributes_xml(text: str, extra: dict[str, str], keep_all: bool = False) -> str:
    """An ``<attributes>`` text without its keys and transpositions, which follow the reading.

    ``extra`` holds new children by tag, put where the schema wants them. Unless ``keep_all``, only
    what the reader of the notes needs is kept. Empty when nothing is left.
    """
    children: list[tuple[int, str]] = []
    for child in _ATTRIBUTE_CHILD.finditer(text):
        tag = child.group(1)
        if tag in _OF_READING or not (keep_all or tag in _KEPT_ATTRIBUTES):
            continue
        kept = child.group(0) if keep_all else _POSITION_OR_OWN.sub("", child.group(0))
        children.append((_RANK[tag], kept))
    children += [(_RANK[tag], content) for tag, content in extra.items() if content]
    if not children:
        return ""
    children.sort(key=_first)
    return "<attributes>" + "".join(content for _, content in children) + "</attributes>"


def key_xml(fifths: int) -> str:
    """A ``<key>`` of ``fifths`` sharps (negative: flats)."""
    return f"<key><fifths>{fifths}</fifths></key>"


def transpose_xml(interval: Interval) -> str:
    """A ``<transpose>`` for an instrument that sounds ``interval`` from what is written, or ""."""
    if interval == Interval(0, 0):
        return ""
    # An octave is written as such (MusicXML 4.0, octave-change), nearest to zero first.
    octaves = int(interval.chromatic / 12)
    change = f"<octave-change>{octaves}</octave-change>" if octaves else ""
    return (
        f"<transpose><diatonic>{interval.diatonic - 7 * octaves}</diatonic>"
        f"<chromatic>{interval.chromatic - 12 * octaves}</chromatic>{change}</transpose>"
    )


def measure_xml(
    text: str,
    container: Container,
    style: Style,
    *,
    notes: Mapping[int, tuple[Pitch, str]],
    extra: dict[str, str],
    before: Mapping[int, str],
) -> str:
    """The content of ``container`` rewritten.

    ``notes`` gives a note's new pitch and ``<accidental>`` by its number (rests are not in it).
    ``extra``: children for the measure's first ``<attributes>``, which is made if need be.
    ``before``: what to put before a note, by its number.
    """
    out: list[str] = []
    number = container.first_note
    for child in container.children:
        source = text[child.start : child.end]
        tag = child.tag
        if tag == "note":
            if extra:
                out.append(attributes_xml("", extra))
                extra = {}
            if number in before:
                out.append(before[number])
            pitch, accidental = notes.get(number, (None, ""))
            out.append(note_xml(source, pitch, accidental, style))
            number += 1
        elif tag == "attributes":
            out.append(attributes_xml(source, extra))
            extra = {}
        elif tag == "direction":
            if _PLAYED_DIRECTION.search(source):
                out.append(_OF_CUE.sub("", source))
        elif tag == "barline":
            out.append(_POSITION_OR_OWN.sub("", source))
        else:
            out.append(source)
    if extra:
        out.append(attributes_xml("", extra))
    return "\n".join(filter(None, out))


def start_tag(text: str, element: Element) -> str:
    """``element``'s start tag without what belongs to the original alone, never an empty-element tag."""
    tag = _POSITION_OR_OWN.sub("", text[element.start : element.opened])
    return tag[:-2].rstrip() + ">" if tag.endswith("/>") else tag


def escaped(text: str) -> str:
    """``text`` as XML character data."""
    return escape(text)


def _first(child: tuple[int, str]) -> int:
    return child[0]
