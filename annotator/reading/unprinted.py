"""Parts whose file sounds altered notes and prints no accidental at all."""

from __future__ import annotations

from annotator.findings import Finding
from annotator.keys import alters_of_key
from annotator.pitch import STEP_INDEX
from annotator.score.model import Part, key_at
from annotator.score.places import Places


def without_accidentals(part: Part, text: str, places: Places) -> Finding | None:
    """The finding for a part that needs accidentals and has none, as scripts and converters write files.

    Readers go by ``<alter>`` for what sounds and by ``<accidental>`` for what is drawn (MusicXML 4.0), so
    such a part plays right and reads wrong.
    """
    for number in part.containers:
        element = places.containers[number].element
        if text.find("<accidental", element.start, element.end) >= 0:
            return None
    for head in part.heads:
        fifths = key_at([key for key in part.keys if key.staff in (0, head.staff)], head.onset) or 0
        if head.pitch.alter != alters_of_key(fifths)[STEP_INDEX[head.pitch.step]]:
            return Finding(
                "no-accidentals",
                f"{head.pitch.name} needs an accidental, and the part prints none at all; our sheets show "
                "what is sounded, other programs may not",
                part.id,
                part.measures[head.measure].number,
            )
    return None
