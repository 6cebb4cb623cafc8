"""Whether the service lives, and whether it can work."""

from __future__ import annotations

from typing import Any

import redis
from apiflask import APIBlueprint
from flask import jsonify

from api import access
from api.openapi import describe
from workers import operator
from workers.context import Context

blueprint = APIBlueprint("health", __name__, tag="Health")


@blueprint.get("/healthz")
@blueprint.doc(responses=describe.responses(s200=describe.document("The web server answers")))
def healthz() -> Any:
    """Whether the web server answers"""
    return jsonify({"status": "ok"})


@blueprint.get("/readyz")
@blueprint.doc(
    responses=describe.responses(
        s200=describe.document("Redis, the store and at least one worker are there"),
        s503=describe.document("Something is missing; the document says what"),
    )
)
def readyz() -> Any:
    """Whether Redis, the store and the workers are there"""
    found = checks(access.context())
    ready = all(check["ok"] for check in found.values())
    response = jsonify({"status": "ready" if ready else "not ready", "checks": found})
    if not ready:
        response.status_code = 503
        response.headers["Retry-After"] = "5"
    return response


def checks(context: Context) -> dict[str, dict[str, Any]]:
    """What the service needs, each with ``ok`` and, where it is not, what is wrong."""
    found: dict[str, dict[str, Any]] = {}
    try:
        context.connection.ping()
        found["redis"] = {"ok": True}
        workers = len(context.hands.workers())
        found["workers"] = {"ok": workers > 0, "count": workers}
        if not workers:
            found["workers"]["detail"] = "no worker has been heard of in the last seconds"
        unheard = operator.unheard(context)
        if unheard:
            told = f"no worker listens to {', '.join(unheard)}; do all have the same CROOKLINE_LANES?"
            found["workers"] |= {"ok": False, "detail": told}
    except redis.RedisError as error:
        found["redis"] = {"ok": False, "detail": f"Redis cannot be reached ({type(error).__name__})"}
        found["workers"] = {"ok": False, "detail": "not known without Redis"}
    try:
        context.store.files.check()
        found["store"] = {"ok": True}
    except Exception as error:  # whatever an object store's client raises, the answer is no
        found["store"] = {"ok": False, "detail": f"the store cannot be written ({type(error).__name__})"}
    return found
