"""The JSON Schema (draft 2020-12) of a concert plan, for those who read plans by program."""

from __future__ import annotations

from typing import Any

Schema = dict[str, Any]
_TEXT: Schema = {"type": "string"}
_COUNT: Schema = {"type": "integer", "minimum": 0}
_SECONDS: Schema = {"type": "number", "minimum": 0, "description": "Seconds."}


def _object(words: str = "", /, **fields: Schema) -> Schema:
    """An object that has these fields, and may come to have more."""
    return {
        "type": "object",
        **({"description": words} if words else {}),
        "required": list(fields),
        "properties": fields,
    }


def _array(items: Schema, words: str = "") -> Schema:
    return {"type": "array", "items": items, **({"description": words} if words else {})}


def _load(words: str) -> Schema:
    return _object(
        words,
        duration=_SECONDS,
        playing=_SECONDS,
        rest=_SECONDS,
        above_g5_written=_SECONDS,
        above_g5_sounding=_SECONDS,
        loud={
            "type": ["number", "null"],
            "description": "Seconds at f and above; null where there are no dynamics.",
        },
        longest_without_rest=_object(seconds=_SECONDS, from_measure=_TEXT, to_measure=_TEXT),
    )


def plan_schema() -> Schema:
    """The schema of ``crookline.plan/1``."""
    instrument = _object(
        "An instrument for a stretch of the piece, and how it lies there.",
        from_measure=_TEXT,
        to_measure=_TEXT,
        instrument=_TEXT,
        cost={"type": "number"},
        awkward_crossings=_COUNT,
        out_of_reach=_COUNT,
        high={**_COUNT, "description": "Notes on partial 9 or higher."},
    )
    piece = _object(
        name={**_TEXT, "description": "The file's."},
        title=_TEXT,
        part={**_TEXT, "description": "The part that was planned."},
        line={**_COUNT, "description": "Which line of it, of so many `lines`."},
        lines=_COUNT,
        instruments=_array(instrument),
        change={"type": "boolean", "description": "Another instrument than at the end of the piece before."},
        sentence={**_TEXT, "description": "Why."},
        load=_load("What there is to play in this piece."),
        course=_array(_TEXT, "How repeats were unfolded."),
        warnings=_array({"type": "object"}, "Findings, as in a report."),
    )
    evening: dict[str, Schema] = {
        "cost": {"type": "number"},
        "usual_share": {"type": "number", "description": "Of the playing, on the usual instrument, 0 to 1."},
        "pieces": _array(piece, "In the order they are played."),
        "load": _load("What there is to play in all."),
    }
    return _object(
        "Which trumpet for which piece of a concert, and how much there is to play. Figures, no verdict.",
        schema={"type": "string", "const": "crookline.plan/1"},
        case=_array(_TEXT, "The instruments at hand, the usual one first."),
        **evening,
        other_lines=_array(
            _object(**evening), "The same for who plays the second line of the files, the third and so on."
        ),
        left_out=_array(_object(name=_TEXT, reason=_TEXT), "Files that could not be planned, and why."),
        caution=_TEXT,
    )
