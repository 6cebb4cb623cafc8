"""What to read on which instrument: crooks, their names and changes, spelling and keys."""

from __future__ import annotations

from annotator.keys import read_key, read_pitch
from annotator.reading.accidentals import Accidental, accidentals
from annotator.reading.changes import read_change
from annotator.reading.crooks import CROOKS, Crook
from annotator.reading.inference import Inference, infer, natural_partial
from annotator.reading.interval_words import in_words
from annotator.reading.model import Reading, Segment
from annotator.reading.names import crook_in_heading, is_trumpet, read_heading
from annotator.reading.segments import read_interval_in_key, segments

__all__ = [
    "CROOKS",
    "Accidental",
    "Crook",
    "Inference",
    "Reading",
    "Segment",
    "accidentals",
    "crook_in_heading",
    "in_words",
    "infer",
    "is_trumpet",
    "natural_partial",
    "read_change",
    "read_heading",
    "read_interval_in_key",
    "read_key",
    "read_pitch",
    "segments",
]
