"""Room for figures between quick notes: the engraver spaces notes by lyrics, so they get one, never seen."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil
from typing import Any

from lxml import etree

from annotator.engraving import faces
from annotator.engraving.figures import BESIDE, FIGURE, ROW, UNSEEN, Figures

LINE = "99"
# The engraver's lyrics, for a staff of 7 mm, in hundredths of a millimetre, and its widest-known letter.
LYRIC_SIZE = 280.0
_LETTER = "n"
# Slower notes than these have room enough for any fingering.
_QUICK = frozenset(("eighth", "16th", "32nd", "64th", "128th"))


def put_spacers(part: Any, figures: Mapping[str, Figures]) -> None:
    """Give the notes of each measure that has wide figures on quick notes lyrics as wide as these need."""
    for measure in part.iterfind("measure"):
        notes = [note for note in measure.iterfind("note") if note.get("id", "") in figures]
        if not any(_quick(note) and _width(figures[note.get("id", "")]) > _room(note) for note in notes):
            continue
        # Under a beam with a grace the engraver cannot have a lyric.
        graced = measure.find("note/grace") is not None
        widths = [_width(figures[note.get("id", "")]) for note in notes]
        for note, width, following in zip(notes, widths, [*widths[1:], widths[-1]], strict=True):
            if graced or note.find("chord") is not None or note.find("lyric") is not None:
                continue
            # A lyric begins at its note, a figure is centred on it: half of this and half of the next.
            count = ceil(((width + following) / 2 + BESIDE) / faces.width(_LETTER, LYRIC_SIZE))
            lyric = etree.SubElement(note, "lyric", number=LINE, name=UNSEEN)
            etree.SubElement(lyric, "syllabic").text = "single"
            etree.SubElement(lyric, "text").text = _LETTER * count


def _quick(note: Any) -> bool:
    return note.findtext("type") in _QUICK


def _room(note: Any) -> float:
    """What the engraver gives a note of this value, at least, in hundredths of a millimetre."""
    return {"eighth": 340.0, "16th": 270.0}.get(note.findtext("type") or "", 240.0)


def _width(figures: Figures) -> float:
    rows = [faces.width(text, ROW) for _, text in figures.rows]
    return max(faces.width(figures.valves, FIGURE, faces.BOLD), *rows, 0.0)
