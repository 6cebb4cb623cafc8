"""The application factory."""

from __future__ import annotations

from apiflask import APIFlask
from flask import Response, request

from annotator import __version__
from api import (
    audit,
    cors,
    events,
    health,
    instruments,
    jobs,
    keys,
    limits,
    metrics,
    origins,
    page,
    problems,
    results,
    sheets,
)
from api.openapi import docs, openapi
from workers.context import Context
from workers.settings import Settings

# One module per concept (of the page, a folder); each has a ``blueprint``, and none imports another.
MODULES = (jobs, events, results, sheets, instruments, health, metrics, docs, page)


def create_app(settings: Settings | None = None) -> APIFlask:
    """The web application with these settings (default: from the environment).

    Nothing outside of it is changed: who runs it with other settings than the environment's has the queue's
    client ``adopt`` them. Raises BadSetting when a setting cannot be used.
    """
    context = Context(settings or Settings.from_environment())
    app = APIFlask(
        "api",
        title="Crookline",
        version=__version__,
        docs_path=None,
        template_folder="page/templates",
        static_folder="page/static",
    )
    app.config |= {
        "MAX_CONTENT_LENGTH": context.settings.max_upload,
        "MAX_FORM_PARTS": context.settings.max_parts + 20,
        "MAX_FORM_MEMORY_SIZE": 1_000_000,
    }
    app.json.sort_keys = False  # type: ignore[attr-defined]
    app.extensions["crookline"] = context
    app.extensions["crookline-streams"] = events.Streams(
        context.settings.streams, context.settings.owner_streams
    )
    audit.register(app)
    openapi.register(app, context)
    problems.register(app)
    keys.register(app, context)
    origins.register(app, context)
    for module in MODULES:
        app.register_blueprint(module.blueprint)
    limits.register(app, context)
    cors.register(app, context)
    metrics.register(app)
    _conditional_documents(app)
    return app


def _conditional_documents(app: APIFlask) -> None:
    @app.after_request
    def conditional(response: Response) -> Response:
        """An entity tag for every JSON document, and 304 for who has it already (RFC 9110, 13)."""
        if request.method in ("GET", "HEAD") and response.status_code == 200 and response.is_json:
            response.add_etag()
            response.headers.setdefault("Cache-Control", "private, no-cache")
            response.make_conditional(request)
        return response
