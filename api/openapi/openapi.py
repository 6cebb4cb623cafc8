"""The OpenAPI document: generated from the routes, completed by what holds for all of them."""

from __future__ import annotations

from typing import Any

from apiflask import APIFlask

from annotator.concert.plan_schema import plan_schema
from annotator.fingering.profile import available_profiles
from annotator.instruments import available
from annotator.registry.media_types import JSON
from annotator.registry.option_rows import schema as options_schema
from annotator.registry.product_rows import OF_JOB, OF_PART
from annotator.report_schema import report_schema
from api.openapi.describe import PROBLEM_SCHEMA, problems
from workers.context import Context

TAGS = {
    "Jobs": "Send files, follow the work, take it away again.",
    "Results": "The files that came of a part, and of a job.",
    "Sheets": "Parts set on paper.",
    "Tables": "What the program knows of trumpets and crooks.",
    "Health": "Whether the service lives and can work.",
}
OPEN = ("/healthz", "/readyz")
# Where one gets to from a job's document, and with what from it (OpenAPI 3.1, Link Object).
JOB_ID = "$response.body#/id"
FIRST_PART = "$response.body#/parts/0/n"
ROUTES_OF_JOB = ("get_job", "delete_job", "events", *(product.name for product in OF_JOB))
LINKS = {
    **{name: {"operationId": name, "parameters": {"job_id": JOB_ID}} for name in ROUTES_OF_JOB},
    **{
        product.name: {"operationId": product.name, "parameters": {"job_id": JOB_ID, "n": FIRST_PART}}
        for product in OF_PART
    },
}
# The request the service makes when a job has ended (OpenAPI 3.1, Callback Object).
CALLBACK = {
    "ended": {
        "{$request.body#/callback_url}": {
            "post": {
                "summary": "The job has ended",
                "description": "Sent when the last part has ended, and again with growing waits while the "
                "answer is none, 5xx, 408, 425 or 429. It may come twice: `id` tells. Check `Signature` "
                "before believing it: an HTTP Message Signature (RFC 9421) named `sig`, hmac-sha256 with "
                "`callback_secret`, over @method, @target-uri, content-digest and content-type; `created` is "
                "when it was sent, `Content-Digest` (RFC 9530) the SHA-256 of the body.",
                "parameters": [
                    {"name": name, "in": "header", "required": True, "schema": {"type": "string"}}
                    for name in ("Content-Digest", "Signature-Input", "Signature")
                ],
                "requestBody": {
                    "required": True,
                    "content": {
                        "application/json": {
                            "schema": {
                                "type": "object",
                                "required": ["schema", "id", "state", "counts", "finished", "job"],
                                "properties": {
                                    "schema": {"const": "crookline.callback/1"},
                                    "id": {"type": "string"},
                                    "state": {"type": "string", "enum": ["done", "partly", "failed"]},
                                    "counts": {"$ref": "#/components/schemas/Counts"},
                                    "finished": {"type": "string", "format": "date-time"},
                                    "job": {"type": "string", "description": "The path of the job."},
                                },
                            }
                        }
                    },
                },
                "responses": {"2XX": {"description": "Taken"}},
            }
        }
    }
}
LINKED = {"create_job": "202", "get_job": "200"}


def register(app: APIFlask, context: Context) -> None:
    """Complete the document of an application."""
    app.servers = [{"url": "/"}]
    app.config |= {
        "INFO": {
            "description": "Orchestral trumpet parts in MusicXML, marked with fingerings, partials, "
            "awkward crossings and a cue line transposed for the trumpet in hand."
        },
        "AUTO_OPERATION_ID": True,
        "AUTO_404_RESPONSE": False,
        "AUTO_VALIDATION_ERROR_RESPONSE": False,
    }

    @app.spec_processor
    def complete(spec: dict[Any, Any] | str) -> dict[Any, Any] | str:
        if isinstance(spec, str):
            return spec
        keyed = bool(context.settings.keys or context.settings.keys_file)
        spec["tags"] = [{"name": name, "description": words} for name, words in TAGS.items()]
        components = spec.setdefault("components", {})
        components.setdefault("schemas", {})["ProblemDocument"] = PROBLEM_SCHEMA
        components["schemas"]["Options"] = options_schema(
            {"instruments": available(), "profiles": available_profiles()}
        )
        components["schemas"]["Report"] = report_schema()
        components["schemas"]["Plan"] = plan_schema()
        components["schemas"]["JobDocument"]["properties"]["options"] = {
            "$ref": "#/components/schemas/Options"
        }
        components["schemas"]["Upload"]["properties"]["options"] |= {
            "contentMediaType": JSON,
            "contentSchema": {"$ref": "#/components/schemas/Options"},
        }
        if keyed:
            components["securitySchemes"] = {"key": {"type": "http", "scheme": "bearer"}}
            spec["security"] = [{"key": []}]
        for path, item in spec["paths"].items():
            for method, operation in item.items():
                if isinstance(operation, dict):
                    _name(operation, method, app)
                    _complete_operation(operation, open_route=path in OPEN, keyed=keyed)
        return spec


def _name(operation: dict[str, Any], method: str, app: APIFlask) -> None:
    """Call an operation by its function's name alone: ``get_job`` and not ``get_jobs_get_job``."""
    name = operation["operationId"].removeprefix(f"{method}_")
    for blueprint in app.blueprints:
        name = name.removeprefix(f"{blueprint}_")
    operation["operationId"] = name


def _complete_operation(operation: dict[str, Any], *, open_route: bool, keyed: bool) -> None:
    answers = operation["responses"]
    if open_route:
        operation["security"] = []
    else:
        everywhere = problems(*((401,) if keyed else ()), 429, 503)
        for status, answer in everywhere.items():
            answers.setdefault(str(status), answer)
    if operation["operationId"] == "create_job":
        operation["callbacks"] = CALLBACK
    linked = LINKED.get(operation["operationId"])
    if linked:
        answers[linked]["links"] = LINKS
    operation["responses"] = {status: answers[status] for status in sorted(answers)}
