"""A line for every request, and one for everything that somebody may ask about later.

Who sent, removed or fetched what, from where and with which of its keys, and what was refused: lines with
``audit`` in them, which an operator keeps as long as the house's rules say.
"""

from __future__ import annotations

import secrets
import time

import structlog
from apiflask import APIFlask
from flask import Response, g, request
from flask_limiter.util import get_remote_address

from api.front import turn
from workers import logs

log = logs.logger(__name__)

QUIET = ("/healthz", "/readyz", "/metrics")
# The ends of the routes that give something away.
FETCHED = ("annotated", "transposed", "exercises", "report", "archive", "pdf", "<int:k>", "plan")
REFUSALS = (401, 403, 413, 415, 421, 422, 429, 503, 507)


def register(app: APIFlask) -> None:
    """Tell of every request in the log."""

    @app.before_request
    def begin() -> None:
        g.began_at = time.perf_counter()
        g.request_number = secrets.token_hex(6)
        structlog.contextvars.bind_contextvars(request=g.request_number)

    @app.after_request
    def end(response: Response) -> Response:
        if turn().dropped:
            return response
        facts = {
            "method": request.method,
            "path": request.path,
            "status": response.status_code,
            "owner": g.get("owner"),
            "key": g.get("key_label") or None,
            "address": get_remote_address(),
            "seconds": round(time.perf_counter() - g.get("began_at", time.perf_counter()), 4),
            "received": request.content_length or 0,
            "sent": response.content_length,
        }
        action = _action(response.status_code)
        if action:
            log.info("audit", action=action, **facts)
        else:
            (log.debug if request.path in QUIET else log.info)("request", **facts)
        return response

    @app.teardown_request
    def forget(_: BaseException | None) -> None:
        structlog.contextvars.clear_contextvars()


def _action(status: int) -> str:
    """What an audit calls a request, or nothing when it is no matter of one."""
    if status in REFUSALS:
        return "refused"
    if status >= 400:
        return ""
    if request.method == "DELETE" or request.endpoint == "page.remove":
        return "removed"
    if request.method == "POST" and request.endpoint in ("jobs.create_job", "page.send"):
        return "accepted"
    route = str(request.url_rule or "")
    if request.method == "GET" and route.startswith("/v1/jobs/") and route.rsplit("/", 1)[-1] in FETCHED:
        return "fetched"
    return ""
