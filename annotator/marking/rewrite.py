"""A measure's text rewritten for what the player reads: new pitches, accidentals, key; else as it was.

Works on the text of the original so that rhythm, beams, tuplets, slurs, ties, articulations and
dynamics are carried over without being understood. What depends on where a note stands on the staff
(stems, positions) is left to the notation program.
"""

from __future__ import annotations

import re
from functools import lru_cache
from html import escape

from annotator.errors import UnreadableScore
from annotator.pitch import Interval, Pitch
from annotator.score.places import Element, elements_only

TAG_REST = r"""(?=[\s/>])(?:[^>"']|"[^"]*"|'[^']*')*"""


def elements(*names: str) -> str:
    """A pattern for whole elements of these names."""
    return rf"<({'|'.join(names)}){TAG_REST}(?:(?<=/)>|>.*?</\1\s*>)"


# Where a thing stood on its page, which is no longer true of it.
POSITIONS = r"""\s(?:default-[xy]|relative-[xy]|bezier-[xy]2?|bezier-offset2?)\s*=\s*(?:"[^"]*"|'[^']*')"""
# What only one element may have, and how loud it is played back.
OWN = r"""\s(?:id|dynamics|end-dynamics|attack|release|pizzicato|width)\s*=\s*(?:"[^"]*"|'[^']*')"""
_OF_MEASURE = re.compile(r"""\s(?:number|implicit|non-controlling|text)\s*=\s*(?:"[^"]*"|'[^']*')""")
POSITION_OR_OWN = re.compile(f"{POSITIONS}|{OWN}")
_OF_STAFF_PLACE = re.compile(f"{elements('accidental', 'stem')}|{POSITIONS}", re.DOTALL)
_FINGERING = re.compile(elements("fingering"), re.DOTALL)
PITCH = re.compile(r"<pitch(?=[\s>]).*?</pitch\s*>", re.DOTALL)
AFTER_ACCIDENTAL = re.compile(
    r"\s*<(?:time-modification|stem|notehead|notehead-text|staff|beam|notations|lyric|play|listen)(?=[\s/>])"
    r"|\s*</note\s*>"
)
_EMPTY_TECHNICAL = re.compile(r"\s*<technical\s*>\s*</technical\s*>")
_EMPTY_LINE = re.compile(r"\r?\n[ \t]*(?=\r?\n)")
_ATTRIBUTE_ORDER = (
    "divisions|key|time|staves|part-symbol|instruments|clef|staff-details|transpose|for-part"
    "|directive|measure-style"
)
_ATTRIBUTE_CHILD = re.compile(rf"<({_ATTRIBUTE_ORDER}){TAG_REST}(?:(?<=/)>|>.*?</\1\s*>)", re.DOTALL)
_KEPT_ATTRIBUTES = frozenset(("divisions", "time", "staves", "clef", "measure-style"))
_OF_READING = frozenset(("key", "transpose", "for-part"))

# The order of children of <attributes> (MusicXML 4.0), to put new ones in their place.
_RANK = {name: rank for rank, name in enumerate(_ATTRIBUTE_ORDER.split("|"))}


@lru_cache(maxsize=1024)
def pitch_xml(pitch: Pitch, fraction: float = 0.0) -> str:
    """A ``<pitch>`` element, ``fraction`` semitones above ``pitch``."""
    alter = f"<alter>{pitch.alter + fraction:g}</alter>" if pitch.alter or fraction else ""
    return f"<pitch><step>{pitch.step}</step>{alter}<octave>{pitch.octave}</octave></pitch>"


def without(pattern: re.Pattern[str], text: str) -> str:
    """``text`` without what matches, and without the empty lines that leaves."""
    return _EMPTY_LINE.sub("", still_whole(text, pattern.sub("", text)))


def still_whole(text: str, new: str) -> str:
    """``new``, which was made of ``text``. Raises UnreadableScore when a part of an element went, because one
    of its own kind stood in it."""
    if _open_tags(text) != _open_tags(new):
        start = " ".join(text.split())[:60]
        raise UnreadableScore(
            f"an element stands inside another of its kind (in {start!r}…); save the file again from a "
            "notation program"
        )
    return new


def _open_tags(text: str) -> int:
    """How many more tags open in a piece of XML than close."""
    if "<!" in text or "<?" in text:
        text = elements_only(text).replace("<?", "")
    return text.count("<") - 2 * text.count("</") - text.count("/>")


def note_xml(text: str, pitch: str, accidental: str) -> str:
    """A note's text with ``pitch`` ("" for a rest, which keeps its own) and ``accidental``, both XML.

    Fingerings that were printed go: they were for another reading.
    """
    new = without(_OF_STAFF_PLACE, text)
    if "<fingering" in new:
        new = _EMPTY_TECHNICAL.sub("", without(_FINGERING, new))
    if pitch:
        new = still_whole(new, PITCH.sub(pitch, new, count=1))
    if accidental:
        place = AFTER_ACCIDENTAL.search(new)
        if place is not None:
            new = f"{new[: place.start()]}{accidental}{new[place.start() :]}"
    return new


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
        still_whole(child.group(0), "")
        kept = child.group(0) if keep_all else POSITION_OR_OWN.sub("", child.group(0))
        children.append((_RANK[tag], kept))
    children += [(_RANK[tag], content) for tag, content in extra.items() if content]
    if not children:
        return ""
    children.sort(key=_first)
    return "<attributes>" + "".join(content for _, content in children) + "</attributes>"


def key_xml(fifths: int, staff: int = 0) -> str:
    """A ``<key>`` of ``fifths`` sharps (negative: flats), for one staff or for all (0)."""
    number = f' number="{staff}"' if staff else ""
    return f"<key{number}><fifths>{fifths}</fifths></key>"


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


def start_tag(text: str, element: Element) -> str:
    """A measure's start tag with only what every part has alike; never an empty-element tag."""
    kept = _OF_MEASURE.findall(text, element.start, element.opened)
    return f"<{element.tag}{''.join(kept)}>"


def escaped_ascii(text: str) -> str:
    """``text`` as XML character data in ASCII, so that a file without other letters stays one."""
    return escape(text, quote=False).encode("ascii", "xmlcharrefreplace").decode("ascii")


def _first(child: tuple[int, str]) -> int:
    return child[0]
