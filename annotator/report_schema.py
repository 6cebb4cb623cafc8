"""The JSON Schema (draft 2020-12) of a report, for those who read reports by program."""

from __future__ import annotations

from typing import Any

from annotator.registry.finding_rows import FINDING
from annotator.registry.option_rows import OF_A_FILE
from annotator.registry.option_rows import schema as options_schema
from annotator.report import SCHEMA

Schema = dict[str, Any]
TEXT: Schema = {"type": "string"}
COUNT: Schema = {"type": "integer", "minimum": 0}
WHOLE: Schema = {"type": "integer"}
NUMBER: Schema = {"type": "number"}
PITCH: Schema = {
    "type": "string",
    "pattern": "^[A-G](#{1,3}|b{1,3})?-?[0-9]+$",
    "description": "A pitch, as F#4 or Bb3; middle C is C4.",
}
VALVES: Schema = {"type": "string", "description": "0 is open; 1-2 the first and second valve."}


def _or_null(schema: Schema) -> Schema:
    return {**schema, "type": [schema["type"], "null"]}


def _array(items: Schema, words: str = "") -> Schema:
    return {"type": "array", "items": items, **({"description": words} if words else {})}


def _object(words: str = "", /, **fields: Schema) -> Schema:
    """An object that has these fields, and may come to have more."""
    return {
        "type": "object",
        **({"description": words} if words else {}),
        "required": list(fields),
        "properties": fields,
    }


def _told(schema: Schema, words: str) -> Schema:
    return {**schema, "description": words}


_WAY = _object(fingering=VALVES, partial=COUNT, cents=_told(NUMBER, "Against equal temperament."))
_CROSSING = _object(
    "The awkward way to this note from the one before; null where it is not awkward.",
    grade={"type": "integer", "minimum": 1, "maximum": 3, "description": "1 mild, 2 medium, 3 hard."},
    reasons=_array(TEXT),
    sentence=TEXT,
    instead=_or_null(_told(TEXT, "What would ease it.")),
    cost=NUMBER,
    gain=NUMBER,
)
_NOTE = _object(
    "A note, and what to do on it.",
    place=_told(COUNT, "The number of its <note> in the file without marks, from 0."),
    measure=_told(TEXT, "As the file numbers it."),
    beat=_told(NUMBER, "From 1, in beats of the time signature."),
    written=PITCH,
    sounding=PITCH,
    reading=_told(PITCH, "As read on the instrument."),
    natural_partial=_or_null(_told(COUNT, "Its partial on the crook, if it has one.")),
    printed=_array(VALVES, "Fingerings the file prints."),
    fingering=_or_null(VALVES),
    partial=_or_null(COUNT),
    cents=_or_null(NUMBER),
    cents_left=_told(NUMBER, "What is left for the lip when the slides are where they are said to be."),
    alternates=_array(_WAY, "Other fingerings."),
    slide=TEXT,
    slide_mm=_told(
        NUMBER, "How far a slide would have to be pulled to put the note in tune, in millimeters."
    ),
    slides=_object(
        "Where the hand slides stand, in millimeters, and whether they are set anew for this note.",
        first=COUNT,
        third=COUNT,
        moved={"type": "boolean"},
    ),
    slide_trouble=_told(TEXT, "Too far or no time for the slide; empty where nothing is wrong."),
    auxiliaries=_array(
        _object(side=TEXT, reading=PITCH, fingering=_or_null(VALVES), cents_left=_or_null(NUMBER)),
        "Notes of an ornament.",
    ),
    why=_told(TEXT, "Why it is not fingered as the chart says, or cannot be; empty where it is."),
    held=_told(TEXT, "What many players take for the note when it is held; mostly empty."),
    demands=_array(TEXT, "The kinds of the demands that begin here."),
    crossing=_or_null(_CROSSING),
)
_SEGMENT = _object(
    "A stretch of one crook.",
    from_measure=TEXT,
    to_measure=TEXT,
    crook=TEXT,
    evidence=TEXT,
    natural_crook=TEXT,
    read=_object(diatonic=WHOLE, chromatic=WHOLE, words=TEXT),
)
_DEMAND = _object(
    "What a line asks for besides the fingers.",
    kind=TEXT,
    line=_or_null(COUNT),
    place=_or_null(_told(COUNT, "The note it begins at.")),
    from_measure=_or_null(TEXT),
    beat=_or_null(NUMBER),
    to_measure=_or_null(TEXT),
    amount=_told(NUMBER, "Notes a second, seconds, … as the sentence says."),
    sentence=TEXT,
)
_LINE = _object(line=COUNT, staff=COUNT, voice=TEXT, notes=_array(_NOTE))
_INFERENCE = _object(
    "What the notes say about the crook, where they were asked.",
    crook=_or_null(TEXT),
    best=_or_null(TEXT),
    score=NUMBER,
    runner_up=_or_null(TEXT),
    runner_up_score=NUMBER,
    not_natural=_array(_object(pitch=PITCH, times=COUNT)),
    words=TEXT,
)
_FINDING = _object(
    code={"type": "string", "enum": sorted(FINDING)},
    part=_or_null(TEXT),
    measure=_or_null(TEXT),
    message=TEXT,
)


def report_schema() -> Schema:
    """The schema of ``crookline.report/1``."""
    return _object(
        "Every note of a file and what to do on it.",
        schema={"const": SCHEMA},
        source=_object(
            name=TEXT,
            sha256={"type": "string", "pattern": "^[0-9a-f]{64}$"},
            software=_array(TEXT, "The programs that the file says wrote it."),
        ),
        title=TEXT,
        instrument=TEXT,
        options={**options_schema(groups=OF_A_FILE), "description": "The options it was made with."},
        tempo=_object(sources=_array(TEXT), words=TEXT),
        parts=_array(
            _object(
                id=TEXT,
                name=TEXT,
                segments=_array(_SEGMENT),
                inference=_or_null(_INFERENCE),
                demands=_array(_DEMAND),
                lines=_array(_LINE),
            )
        ),
        warnings=_array(_FINDING, "What was noticed and a person should know."),
        summary=_object(
            parts=COUNT,
            lines=COUNT,
            notes=COUNT,
            crossings={"type": "object", "additionalProperties": COUNT},
            out_of_range=COUNT,
            warnings=COUNT,
        ),
    )
