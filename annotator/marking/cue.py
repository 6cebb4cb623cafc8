"""The cue line: an extra small part under the marked one, with the notes as the player reads them."""

from __future__ import annotations

from dataclasses import dataclass

from annotator.instruments import Instrument
from annotator.marking.as_read import ReadPart, key_changes
from annotator.marking.cue_notes import CueWriter
from annotator.marking.rewrite import escaped_ascii, start_tag, transpose_xml
from annotator.score.model import Part
from annotator.score.ours import SIGN_REFERENCE
from annotator.score.places import Places

STAFF_SIZE = 75
"""Per cent of the full staff size: what engravers commonly give a cue staff (common practice, no source)."""

SHORT = "as read"
"""What stands before the cue staff from the second system on."""


@dataclass(frozen=True, slots=True)
class CuePart:
    """``header`` is the ``<score-part>``; ``measures`` the XML of the part's containers, in order."""

    id: str
    header: str
    measures: tuple[str, ...]


def cue_part(
    text: str,
    places: Places,
    part: Part,
    *,
    read: ReadPart,
    words: str,
    instrument: Instrument,
    part_id: str,
) -> CuePart:
    """The cue part of ``part``, with the id ``part_id``, made from the score's ``text``.

    ``words`` say in its name how it reads ("as read on Trumpet in C").

    Its notes are silent in playback: ``<cue/>`` notes (MusicXML 4.0) and a volume of 0.
    """
    measures = []
    writer = CueWriter(text, read.notes)
    changing = {key.measure for key in read.keys}
    for index, number in enumerate(part.containers):
        container = places.containers[number]
        extra, before = key_changes(part, read, index) if index in changing else ({}, {})
        if index == 0:
            extra["staff-details"] = _staff_details(part)
            extra["transpose"] = transpose_xml(instrument.transposition)
        content = writer.measure(container, extra, before)
        opening = start_tag(text, container.element)
        if container.element.tag == "part":
            opening = f'<part id="{part_id}">'
        measures.append(f"{opening}\n{content}\n</{container.element.tag}>")
    name = escaped_ascii(f"{part.abbreviation or part.name} – {words}".lstrip(" –"))
    held = escaped_ascii(instrument.name)
    header = (
        f'<score-part id="{part_id}"><part-name>{name}</part-name>'
        f"<part-abbreviation>{SHORT}{SIGN_REFERENCE}</part-abbreviation>"
        f'<score-instrument id="{part_id}-I1"><instrument-name>{held}</instrument-name>'
        f'</score-instrument><midi-instrument id="{part_id}-I1"><volume>0</volume></midi-instrument>'
        "</score-part>"
    )
    return CuePart(part_id, header, tuple(measures))


def _staff_details(part: Part) -> str:
    staves = max((head.staff for head in part.heads), default=1)
    numbers = [f' number="{staff}"' for staff in range(1, staves + 1)] if staves > 1 else [""]
    return "".join(
        f"<staff-details{number}><staff-type>cue</staff-type><staff-size>{STAFF_SIZE}</staff-size></staff-details>"
        for number in numbers
    )
