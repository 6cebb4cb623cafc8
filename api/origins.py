"""Who may be spoken to under which name, and from which pages: against rebound names and foreign forms.

A web page anywhere may send a request to a service on its reader's own machine. A name that was made to
point here is told by the ``Host`` field (RFC 9110, 7.2), a form or script of another site by ``Origin`` and
``Sec-Fetch-Site`` (Fetch Standard, Fetch Metadata), which programs other than browsers do not send.
"""

from __future__ import annotations

from urllib.parse import urlsplit

from apiflask import APIFlask
from flask import Request, Response, request

from api.problems import Problem
from workers.context import Context
from workers.settings import Settings, variable

HERE = ("localhost", "127.0.0.1", "[::1]")
SAFE = ("GET", "HEAD", "OPTIONS")
ALWAYS = ("/healthz", "/readyz")  # asked by address, by whoever watches the service


def register(app: APIFlask, context: Context) -> None:
    """Refuse requests under foreign names, and those that other sites make a browser send."""
    settings = context.settings

    @app.before_request
    def check() -> None:
        if request.path not in ALWAYS and not _is_ours(request.host, settings):
            raise Problem(
                421,
                "wrong-host",
                f"this service is not known as {_name(request.host)!r}; its names are set "
                f"with {variable('hosts')}",
            )
        if request.method not in SAFE and not same_site(request, settings.cors_origins):
            raise Problem(
                403,
                "cross-site",
                "a page of another site sent this; "
                f"its origin can be allowed with {variable('cors_origins')}",
            )

    @app.after_request
    def protect(response: Response) -> Response:
        response.headers.setdefault("X-Content-Type-Options", "nosniff")
        response.headers.setdefault("Cache-Control", "private, no-cache")
        return response


def same_site(asked: Request, allowed: tuple[str, ...] = ()) -> bool:
    """Whether a request comes from a page of this service, of an allowed origin, or from no page at all."""
    origin = asked.headers.get("Origin")
    if origin in allowed:
        return True
    site = asked.headers.get("Sec-Fetch-Site")
    if site is not None:
        return site in ("same-origin", "none")
    return origin is None or urlsplit(origin).netloc == asked.host


def _is_ours(host: str, settings: Settings) -> bool:
    name = _name(host)
    if settings.hosts:
        return name in settings.hosts or name in HERE
    # Without keys the service is for this machine alone; under a foreign name nobody has a key to show.
    return bool(settings.keys or settings.keys_file) or name in HERE


def _name(host: str) -> str:
    """The ``Host`` field without its port."""
    name, _, port = host.rpartition(":")
    return (name if name and port.isdigit() else host).lower().rstrip(".")
