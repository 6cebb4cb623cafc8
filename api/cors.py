"""Calls from web pages of other origins (Fetch Standard, CORS protocol): off unless a setting names them."""

from __future__ import annotations

from apiflask import APIFlask
from flask import Response, request

from workers.context import Context

METHODS = "GET, HEAD, POST, DELETE, OPTIONS"
FIELDS = "Authorization, Content-Type, Idempotency-Key, If-None-Match, Last-Event-ID, Range"
EXPOSED = "Content-Disposition, Content-Range, ETag, Link, Location, Retry-After"
PREFLIGHT_SECONDS = "600"


def register(app: APIFlask, context: Context) -> None:
    """Allow the origins of ``cors_origins`` the calls under ``/v1``."""
    origins = set(context.settings.cors_origins)
    if not origins:
        return

    @app.after_request
    def allow(response: Response) -> Response:
        if not request.path.startswith("/v1/"):
            return response
        response.vary.add("Origin")
        origin = request.headers.get("Origin", "")
        if origin in origins:
            response.headers["Access-Control-Allow-Origin"] = origin
            response.headers["Access-Control-Expose-Headers"] = EXPOSED
            if request.method == "OPTIONS":
                response.headers["Access-Control-Allow-Methods"] = METHODS
                response.headers["Access-Control-Allow-Headers"] = FIELDS
                response.headers["Access-Control-Max-Age"] = PREFLIGHT_SECONDS
        return response
