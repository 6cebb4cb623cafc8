"""What the OpenAPI document says about answers that are no JSON documents of ours."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from api.problems import MEDIA_TYPE

PROBLEM_SCHEMA = {
    "type": "object",
    "description": "What went wrong (RFC 9457).",
    "required": ["type", "title", "status", "detail", "instance", "code"],
    "properties": {
        "type": {"type": "string", "description": "A page that tells of this kind of problem."},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "For people: what is wrong and what to do."},
        "instance": {"type": "string", "description": "The path of the request."},
        "code": {"type": "string", "description": "Stable, for programs."},
        "errors": {
            "type": "array",
            "description": "The fields that are wrong.",
            "items": {
                "type": "object",
                "required": ["field", "pointer", "detail"],
                "properties": {
                    "field": {"type": "string"},
                    "pointer": {"type": "string", "description": "JSON Pointer (RFC 6901) to the value."},
                    "detail": {"type": "string"},
                },
            },
        },
        "reason": {"type": "object", "description": "Why a part failed, as in the job's document."},
    },
}
PROBLEM = {"$ref": "#/components/schemas/ProblemDocument"}


Responses = dict[int | str, Any]


def problems(*codes: int) -> Responses:
    """Responses with problem documents, for those statuses."""
    return {
        code: {
            "description": HTTPStatus(code).phrase,
            "content": {MEDIA_TYPE: {"schema": PROBLEM}},
        }
        for code in codes
    }


def text(description: str, media_type: str) -> dict[str, Any]:
    """A response with text."""
    return {"description": description, "content": {media_type: {"schema": {"type": "string"}}}}


def content(description: str, *media_types: str) -> dict[str, Any]:
    """A response with a file of one of the media types."""
    binary = {"type": "string", "format": "binary"}
    return {"description": description, "content": {kind: {"schema": binary} for kind in media_types}}


def alternatives(description: str, *media_types: str) -> dict[str, Any]:
    """A response as a JSON object or as a file, whichever is asked for."""
    files = content(description, *(kind for kind in media_types if kind != "application/json"))
    return {"description": description, "content": document(description)["content"] | files["content"]}


def document(description: str, name: str = "") -> dict[str, Any]:
    """A response with a JSON object; ``name``: its schema among the components."""
    schema = {"$ref": f"#/components/schemas/{name}"} if name else {"type": "object"}
    return {"description": description, "content": {"application/json": {"schema": schema}}}


def responses(*problem_codes: int, **by_status: Any) -> Responses:
    """All responses of a route: problems by number, the others as ``s200=…``."""
    return {int(status[1:]): answer for status, answer in by_status.items()} | problems(*problem_codes)
