"""A measure's text rewritten for what the player reads: new pitches, accidentals, key; else as it was.

Works on the text of the original so that rhythm, beams, tuplets, slurs, ties, articulations and
dynamics are carried over without being understood. What depends on where a note stands on the staff
(stems, positions) is left to the notation program.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

from annotator.errors import UnreadableScore
from annotator.pitch import Interval, Pitch
from annotator.score.places import Container, Element, elements_only
from annotator.score.walk import Walk

_TAG_REST = r"""(?=[\s/>])(?:[^>"']|"[^"]*"|'[^']*')*"""


def _elements(*names: str) -> str:
    """A pattern for whole elements of these names."""
    return rf"<({'|'.join(names)}){_TAG_REST}(?:(?<=/)>|>.*?</\1\s*>)"


# Where a thing stood on its page, which is no longer true of it.
_POSITIONS = r"""\s(?:default-[xy]|relative-[xy]|bezier-[xy]2?|bezier-offset2?)\s*=\s*(?:"[^"]*"|'[^']*')"""
# What only one element may have, and how loud it is played back.
_OWN = r"""\s(?:id|dynamics|end-dynamics|attack|release|pizzicato|width)\s*=\s*(?:"[^"]*"|'[^']*')"""
_OF_MEASURE = re.compile(r"""\s(?:number|implicit|non-controlling|text)\s*=\s*(?:"[^"]*"|'[^']*')""")
_POSITION_OR_OWN = re.compile(f"{_POSITIONS}|{_OWN}")
_OF_STAFF_PLACE = re.compile(f"{_elements('accidental', 'stem')}|{_POSITIONS}", re.DOTALL)
_OF_CUE = re.compile(
    _elements("accidental", "stem", "tie", "instrument", "lyric", "technical", "play", "listen", "sound")
    + f"|{_POSITIONS}|{_OWN}",
    re.DOTALL,
)
_FINGERING = re.compile(_elements("fingering"), re.DOTALL)
_PITCH = re.compile(r"<pitch(?=[\s>]).*?</pitch\s*>", re.DOTALL)
_GRACE_FIRST = re.compile(rf"\s*<grace{_TAG_REST}(?:(?<=/)>|>\s*</grace\s*>)")
_PRINTED = re.compile(r"""print-[a-z]+\s*=\s*(?:"[^"]*"|'[^']*')""")
_AFTER_ACCIDENTAL = re.compile(
    r"\s*<(?:time-modification|stem|notehead|notehead-text|staff|beam|notations|lyric|play|listen)(?=[\s/>])"
    r"|\s*</note\s*>"
)
_IS_CUE = re.compile(r"<cue\s*(?:/>|>)")
_CHORD = re.compile(r"<chord\s*(?:/>|>)")
_GRACE = re.compile(r"<grace(?=[\s/>])")
_EMPTY_TECHNICAL = re.compile(r"\s*<technical\s*>\s*</technical\s*>")
_EMPTY_LINE = re.compile(r"\r?\n[ \t]*(?=\r?\n)")
_TYPE = re.compile(r"<type(?=[\s>])[^>]*>")
_DURATION_VALUE = re.compile(r"<duration(?=[\s>])[^>]*>\s*([0-9.]+)\s*</duration")
_REST = re.compile(r"<rest(?=[\s/>])")
_SPANNER_ENDS = re.compile(r"""\btype\s*=\s*["']stop["']""")
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


@lru_cache(maxsize=1024)
def pitch_xml(pitch: Pitch, fraction: float = 0.0) -> str:
    """A ``<pitch>`` element, ``fraction`` semitones above ``pitch``."""
    alter = f"<alter>{pitch.alter + fraction:g}</alter>" if pitch.alter or fraction else ""
    return f"<pitch><step>{pitch.step}</step>{alter}<octave>{pitch.octave}</octave></pitch>"


def _without(pattern: re.Pattern[str], text: str) -> str:
    """``text`` without what matches, and without the empty lines that leaves."""
    return _EMPTY_LINE.sub("", _still_whole(text, pattern.sub("", text)))


def _still_whole(text: str, new: str) -> str:
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
    new = _without(_OF_STAFF_PLACE, text)
    if "<fingering" in new:
        new = _EMPTY_TECHNICAL.sub("", _without(_FINGERING, new))
    if pitch:
        new = _still_whole(new, _PITCH.sub(pitch, new, count=1))
    if accidental:
        place = _AFTER_ACCIDENTAL.search(new)
        if place is not None:
            new = f"{new[: place.start()]}{accidental}{new[place.start() :]}"
    return new


class CueTemplate(NamedTuple):
    """A cue note, start tag left out, cut where its pitch and its accidental go.

    ``pitched``: it has a pitch of its own. ``silence``: all of it is in ``before``, and it is no note.
    """

    before: str
    middle: str
    after: str
    pitched: bool
    silence: bool = False


def cue_template(content: str, *, read: bool = True) -> CueTemplate:
    """The cue note for a note's ``content`` (its text from the end of its start tag), start tag left out.

    A note that was a cue for the player already is nothing to read: silence for as long as it lasts. So is
    one whose pitch could not be ``read``.
    """
    # The start tag is left out, so one tag more closes than opens.
    _still_whole(f"<note>{content}", "")
    if _IS_CUE.search(content) or (not read and _PITCH.search(content)):
        return CueTemplate(_silence(content), "", "", pitched=False, silence=True)
    new = _without(_OF_CUE, content)
    grace = _GRACE_FIRST.match(new)
    if grace is not None:
        new = f"{new[: grace.end()]}<cue/>{new[grace.end() :]}"
    else:
        # The staff is small already: a cue note on it is drawn at the staff's own size.
        new = "<cue/>" + _TYPE.sub('<type size="full">', new, count=1)
    pitch = _PITCH.search(new)
    if pitch is not None:
        _still_whole(pitch.group(), "")
    start, end = pitch.span() if pitch is not None else (len(new), len(new))
    place = _AFTER_ACCIDENTAL.search(new, end)
    cut = place.start() if place is not None else len(new)
    return CueTemplate(new[:start], new[end:cut], new[cut:], pitch is not None)


def cue_start_tag(tag: str) -> str:
    """The start tag of a cue note for a note with the start tag ``tag``: only what is printed stays.

    ``dynamics`` of 0 per cent make it silent also where volumes and cue notes are not heeded.
    """
    kept = _PRINTED.findall(tag) if "print-" in tag else ()
    return f"<note {' '.join(kept)} {_SILENT}>" if kept else f"<note {_SILENT}>"


_SILENT = 'dynamics="0"'


def _silence(content: str) -> str:
    """Time that passes, for a note that was somebody else's: no rest, which would be printed."""
    if _CHORD.search(content) or _GRACE.search(content):
        return ""
    found = (pattern.search(content) for pattern in (_DURATION, _VOICE, _STAFF))
    duration, voice, staff = (match.group(0) if match else "" for match in found)
    return f"<forward>{duration}{voice}{staff}</forward>"


def _length(text: str, children: Sequence[Element]) -> str:
    """The length of a measure in divisions: how far its notes, backups and forwards reach."""

    def span(child: Element) -> tuple[float, bool]:
        content = text[child.opened : child.end]
        duration = _DURATION_VALUE.search(content)
        if duration is None or _GRACE.search(content):
            return 0.0, False
        return float(duration.group(1)), _CHORD.search(content) is not None

    # One division is the unit here, whatever the file divides a quarter into.
    walk = Walk(longest=float("inf"))
    for _ in walk.steps(children, span, span, lambda _: 0.0):
        pass
    return f"{walk.length:.9f}".rstrip("0").rstrip(".")


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
        _still_whole(child.group(0), "")
        kept = child.group(0) if keep_all else _POSITION_OR_OWN.sub("", child.group(0))
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


class CueWriter:
    """Writes measures of a cue part from a score's ``text``. Notes of one text are cut up once."""

    def __init__(self, text: str, notes: Mapping[int, tuple[str, str]]) -> None:
        """``notes`` gives a note's new pitch and accidental, as XML, by its number (rests are not in it)."""
        self._text = text
        self._notes = notes
        self._templates: dict[str, CueTemplate] = {}
        self._directions: dict[str, str] = {}
        self._others = _IS_CUE.search(text) is not None

    def measure(self, container: Container, extra: dict[str, str], before: Mapping[int, str]) -> str:
        """The content of a measure.

        ``extra``: children for its first ``<attributes>``, which is made if need be. ``before``: what to
        put before a note, by its number.
        """
        if self._others and self._only_others(container):
            return self._resting(container, extra)
        return self._copied(container, extra, before)

    def _copied(self, container: Container, extra: dict[str, str], before: Mapping[int, str]) -> str:
        text, templates, notes = self._text, self._templates, self._notes
        out: list[str] = []
        number = container.first_note
        for tag, start, opened, end in container.children:
            if tag == "note":
                if extra:
                    out.append(attributes_xml("", extra))
                    extra = {}
                if before and number in before:
                    out.append(before[number])
                content = text[opened:end]
                template = templates.get(content)
                if template is None:
                    template = templates[content] = cue_template(content, read=number in notes)
                head, middle, after, pitched, silence = template
                if head:
                    opening = "" if silence else cue_start_tag(text[start:opened])
                    pitch, accidental = notes[number] if pitched else ("", "")
                    out.append(f"{opening}{head}{pitch}{middle}{accidental}{after}")
                number += 1
            elif tag == "attributes":
                out.append(attributes_xml(text[start:end], extra))
                extra = {}
            elif tag == "direction":
                source = text[start:end]
                if _PLAYED_DIRECTION.search(source):
                    out.append(self._direction(source))
            else:
                source = text[start:end]
                _still_whole(source, "")
                out.append(_POSITION_OR_OWN.sub("", source) if tag == "barline" else source)
        if extra:
            out.append(attributes_xml("", extra))
        return "\n".join(filter(None, out))

    def _only_others(self, container: Container) -> bool:
        """Whether a measure has cue notes for the player, and of the player's own nothing but rests."""
        contents = [
            self._text[child.opened : child.end] for child in container.children if child.tag == "note"
        ]
        if not any(_IS_CUE.search(content) for content in contents):
            return False
        one_staff = not any(_STAFF.search(content) for content in contents)
        return one_staff and all(_IS_CUE.search(each) or _REST.search(each) for each in contents)

    def _resting(self, container: Container, extra: dict[str, str]) -> str:
        """The content of a measure in which the player rests, and only reads what others play."""
        text = self._text
        out: list[str] = []
        length = _length(text, container.children)
        rest = (
            f'<note {_SILENT}><cue/><rest measure="yes"/><duration>{length}</duration><voice>1</voice></note>'
        )
        for tag, start, _, end in container.children:
            if tag == "attributes":
                out.append(attributes_xml(text[start:end], extra))
                extra = {}
            elif tag == "note" and rest:
                out += (attributes_xml("", extra) if extra else "", rest)
                extra, rest = {}, ""
            elif tag == "direction" and _SPANNER_ENDS.search(text, start, end):
                out.append(self._direction(text[start:end]))
            elif tag == "barline":
                out.append(_POSITION_OR_OWN.sub("", text[start:end]))
        return "\n".join(filter(None, out))

    def _direction(self, source: str) -> str:
        found = self._directions.get(source)
        if found is None:
            _still_whole(source, "")
            found = self._directions[source] = _without(_OF_CUE, source)
        return found


def start_tag(text: str, element: Element) -> str:
    """A measure's start tag with only what every part has alike; never an empty-element tag."""
    kept = _OF_MEASURE.findall(text, element.start, element.opened)
    return f"<{element.tag}{''.join(kept)}>"


def escaped(text: str) -> str:
    """``text`` as XML character data."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def escaped_ascii(text: str) -> str:
    """``text`` as XML character data in ASCII, so that a file without other letters stays one."""
    return escaped(text).encode("ascii", "xmlcharrefreplace").decode("ascii")


def _first(child: tuple[int, str]) -> int:
    return child[0]
