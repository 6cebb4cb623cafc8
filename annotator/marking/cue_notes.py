"""The notes of a cue line, written from those of the part: new pitches, silent, without what is others'."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from annotator.marking.rewrite import (
    AFTER_ACCIDENTAL,
    OWN,
    PITCH,
    POSITION_OR_OWN,
    POSITIONS,
    TAG_REST,
    attributes_xml,
    elements,
    still_whole,
    without,
)
from annotator.score.places import Container, Element
from annotator.score.walk import Walk

_OF_CUE = re.compile(
    elements("accidental", "stem", "tie", "instrument", "lyric", "technical", "play", "listen", "sound")
    + f"|{POSITIONS}|{OWN}",
    re.DOTALL,
)
_GRACE_FIRST = re.compile(rf"\s*<grace{TAG_REST}(?:(?<=/)>|>\s*</grace\s*>)")
_PRINTED = re.compile(r"""print-[a-z]+\s*=\s*(?:"[^"]*"|'[^']*')""")
_IS_CUE = re.compile(r"<cue\s*(?:/>|>)")
_CHORD = re.compile(r"<chord\s*(?:/>|>)")
_GRACE = re.compile(r"<grace(?=[\s/>])")
_TYPE = re.compile(r"<type(?=[\s>])[^>]*>")
_DURATION_VALUE = re.compile(r"<duration(?=[\s>])[^>]*>\s*([0-9.]+)\s*</duration")
_REST = re.compile(r"<rest(?=[\s/>])")
_SPANNER_ENDS = re.compile(r"""\btype\s*=\s*["']stop["']""")
_DURATION = re.compile(r"<duration(?=[\s>]).*?</duration\s*>", re.DOTALL)
_VOICE = re.compile(r"<voice(?=[\s>]).*?</voice\s*>", re.DOTALL)
_STAFF = re.compile(r"<staff(?=[\s>]).*?</staff\s*>", re.DOTALL)
_PLAYED_DIRECTION = re.compile(r"<(?:dynamics|wedge|octave-shift|dashes)(?=[\s/>])")
_SILENT = 'dynamics="0"'


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
    still_whole(f"<note>{content}", "")
    if _IS_CUE.search(content) or (not read and PITCH.search(content)):
        return CueTemplate(_silence(content), "", "", pitched=False, silence=True)
    new = without(_OF_CUE, content)
    grace = _GRACE_FIRST.match(new)
    if grace is not None:
        new = f"{new[: grace.end()]}<cue/>{new[grace.end() :]}"
    else:
        # The staff is small already: a cue note on it is drawn at the staff's own size.
        new = "<cue/>" + _TYPE.sub('<type size="full">', new, count=1)
    pitch = PITCH.search(new)
    if pitch is not None:
        still_whole(pitch.group(), "")
    start, end = pitch.span() if pitch is not None else (len(new), len(new))
    place = AFTER_ACCIDENTAL.search(new, end)
    cut = place.start() if place is not None else len(new)
    return CueTemplate(new[:start], new[end:cut], new[cut:], pitch is not None)


def cue_start_tag(tag: str) -> str:
    """The start tag of a cue note for a note with the start tag ``tag``: only what is printed stays.

    ``dynamics`` of 0 per cent make it silent also where volumes and cue notes are not heeded.
    """
    kept = _PRINTED.findall(tag) if "print-" in tag else ()
    return f"<note {' '.join(kept)} {_SILENT}>" if kept else f"<note {_SILENT}>"


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
                still_whole(source, "")
                out.append(POSITION_OR_OWN.sub("", source) if tag == "barline" else source)
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
                out.append(POSITION_OR_OWN.sub("", text[start:end]))
        return "\n".join(filter(None, out))

    def _direction(self, source: str) -> str:
        found = self._directions.get(source)
        if found is None:
            still_whole(source, "")
            found = self._directions[source] = without(_OF_CUE, source)
        return found
