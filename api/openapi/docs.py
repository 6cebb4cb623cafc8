"""The API for people: a page made from the OpenAPI document, with nothing from elsewhere."""

from __future__ import annotations

from typing import Any

from apiflask import APIBlueprint
from flask import make_response, render_template

from api import access
from api.problems import MEANINGS

blueprint = APIBlueprint("docs", __name__, enable_openapi=False)
POLICY = "default-src 'none'; style-src 'self'; img-src 'self'; base-uri 'none'; frame-ancestors 'none'"
METHODS = ("get", "post", "put", "patch", "delete")


@blueprint.get("/docs")
def docs() -> Any:
    """Every route, schema and problem."""
    spec: dict[str, Any] = access.application().spec  # type: ignore[assignment]
    page = render_template("docs.html", spec=spec, groups=groups(spec), problems=MEANINGS)
    response = make_response(page)
    response.headers["Content-Security-Policy"] = POLICY
    return response


def groups(spec: dict[str, Any]) -> dict[str, list[dict[str, Any]]]:
    """The operations by their tag, in the order of the routes."""
    found: dict[str, list[dict[str, Any]]] = {}
    for path, item in spec["paths"].items():
        for method in METHODS:
            if method in item:
                operation = item[method]
                entry = {
                    "method": method.upper(),
                    "path": path,
                    "parameters": [*item.get("parameters", ()), *operation.get("parameters", ())],
                    **{key: value for key, value in operation.items() if key != "parameters"},
                }
                found.setdefault((operation.get("tags") or ["Other"])[0], []).append(entry)
    for entries in found.values():
        entries.sort(key=lambda entry: (entry["path"], METHODS.index(entry["method"].lower())))
    return found
