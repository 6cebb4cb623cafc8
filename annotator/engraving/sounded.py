"""Accidentals for a part that has none: the sheet shows what is sounded.

Scripts and converters write pitches and leave ``<accidental>`` out; the engraver draws only what is there.
"""

from __future__ import annotations

from typing import Any

from lxml import etree

from annotator.pitch import Pitch
from annotator.reading.accidentals import Staff, accidentals
from annotator.score.numbers import FIFTHS, text_of, whole_of
from annotator.score.shapes import pitch_of
from annotator.score.walk import Walk

# The children of a <note> that stand before its <accidental> (MusicXML 4.0).
_BEFORE = frozenset(
    (
        *("grace", "cue", "chord", "pitch", "unpitched", "rest", "duration", "tie", "instrument", "footnote"),
        *("level", "voice", "type", "dot"),
    )
)


def shows_none(part: Any) -> bool:
    """Whether a part has altered notes that its key signatures do not alter, and no accidental at all."""
    if part.find("measure/note/accidental") is not None:
        return False
    return any(True for _ in _missing(part))


def show_accidentals(part: Any) -> None:
    """Give a part that has no accidental the ones it needs."""
    if part.find("measure/note/accidental") is not None:
        return
    for note, name in list(_missing(part)):
        accidental = etree.Element("accidental")
        accidental.text = name
        after = [child for child in note if child.tag in _BEFORE]
        note.insert(note.index(after[-1]) + 1 if after else 0, accidental)


def _missing(part: Any) -> Any:
    """The notes that need an accidental, and its name. Courtesy accidentals are not wanted here."""
    walk = Walk()
    staves: dict[str, Staff] = {}
    fifths = 0
    for measure in part.iterfind("measure"):
        heads: dict[str, list[tuple[float, Any, Pitch, bool]]] = {}
        for tag, element, onset, _ in walk.through(measure):
            if tag == "attributes":
                key = element.find("key/fifths")
                fifths = whole_of(key, fifths, FIFTHS)
            elif tag == "note" and (pitch := pitch_of(element)) is not None:
                tied = element.find("tie[@type='stop']") is not None
                staff = text_of(element.find("staff")) or "1"
                heads.setdefault(staff, []).append((onset, element, pitch, tied))
        for staff, notes in heads.items():
            notes.sort(key=lambda head: head[0])
            signs = accidentals(
                [(pitch, tied) for _, _, pitch, tied in notes], fifths, staves.setdefault(staff, Staff())
            )
            for (_, element, _, _), sign in zip(notes, signs, strict=True):
                if sign is not None and not sign.cautionary:
                    yield element, sign.name
