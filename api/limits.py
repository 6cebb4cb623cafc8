"""How much one key (without keys: one address) may ask, counted in Redis for all web servers together."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any, cast

from apiflask import APIFlask
from flask import Response, g, request
from flask_limiter import Limiter, RateLimitExceeded
from flask_limiter.util import get_remote_address
from limits import parse

from api.front import turn
from api.keys import OPEN_ENDPOINTS
from api.problems import Problem
from workers.context import Context

UPLOADS = ("jobs.create_job", "page.send")


def register(app: APIFlask, context: Context) -> None:
    """Limit requests, and uploaded bytes. Without Redis each web server counts for itself."""
    settings = context.settings
    limiter = Limiter(
        key_func=_asker,
        app=app,
        application_limits=[settings.rate],
        application_limits_exempt_when=lambda: request.endpoint in OPEN_ENDPOINTS or not turn().first,
        storage_uri=settings.redis_url or "memory://",
        key_prefix="crookline",
        in_memory_fallback_enabled=True,
    )
    uploads = limiter.limit(f"{settings.upload_rate} per hour", cost=_bytes, key_func=_asker)
    for endpoint in UPLOADS:
        view = cast("Callable[..., Any]", app.view_functions[endpoint])
        app.view_functions[endpoint] = uploads(view)

    wrong = parse(settings.wrong_keys)

    def wrong_key(address: str) -> int:
        """Count a wrong key; gives how many seconds its sender has to wait before the next, or 0."""
        try:
            if limiter.limiter.hit(wrong, "wrong-key", address):
                return 0
            over = limiter.limiter.get_window_stats(wrong, "wrong-key", address)
            return max(1, round(over.reset_time - time.time()))
        except Exception:  # whatever the storage raises: without Redis nobody counts
            return 0

    app.extensions["crookline-wrong-key"] = wrong_key

    @app.errorhandler(RateLimitExceeded)
    def exceeded(error: RateLimitExceeded) -> Response:
        reached = limiter.current_limit
        wait = max(1, round(reached.reset_at - time.time())) if reached else 1
        detail = f"the limit of {error.description} is reached"
        return Problem(429, "too-many-requests", detail, headers={"Retry-After": str(wait)}).response()


def _asker() -> str:
    return f"key:{g.owner}" if g.get("known") and g.owner != "local" else f"address:{get_remote_address()}"


def _bytes() -> int:
    return request.content_length or 0
