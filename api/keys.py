"""Who asks: keys as bearer tokens (RFC 6750), and the owner a request acts for.

A browser sends no such field with a link or a picture; there the page keeps the key in a cookie that no
script can read and no other site's form carries along (``HttpOnly``, ``SameSite=Strict``).
"""

from __future__ import annotations

from apiflask import APIFlask
from flask import current_app, g, request
from flask_limiter.util import get_remote_address

from api.problems import Problem
from workers import logs
from workers.context import Context
from workers.settings import Settings

log = logs.logger(__name__)

LOCAL_OWNER = "local"
COOKIE = "crookline_key"

# Health for whoever runs the service; the page (and its files), where a person enters the key.
OPEN_ENDPOINTS = {"health.healthz", "health.readyz", "static"}
OPEN_BLUEPRINTS = {"page"}


def register(app: APIFlask, context: Context) -> None:
    """Let every request name its owner, and refuse those without a key where there are keys."""
    settings = context.settings

    @app.before_request
    def identify() -> None:
        g.owner = LOCAL_OWNER
        g.known = not settings.keys
        if not settings.keys:
            return
        kept = request.cookies.get(COOKIE, "")
        found = owner_of(request.headers.get("Authorization") or f"Bearer {kept}", settings)
        if found is not None:
            g.owner, g.known = found, True
            return
        if request.headers.get("Authorization") or (kept and not _open()):
            note_wrong_key()
        if request.method != "OPTIONS" and not _open():
            raise Problem(
                401,
                "key-required",
                "this service needs a key: send it as `Authorization: Bearer SECRET`",
                headers={"WWW-Authenticate": 'Bearer realm="crookline"'},
            )


def note_wrong_key() -> None:
    """Note a wrong key, and from where it came. Raises Problem when too many have come from there."""
    address = get_remote_address()
    wait = current_app.extensions["crookline-wrong-key"](address)
    log.warning("wrong key", address=address, path=request.path, refused_for=wait)
    if wait:
        detail = f"too many wrong keys have come from {address}; try again in {wait} s"
        raise Problem(429, "too-many-wrong-keys", detail, headers={"Retry-After": str(wait)})


def owner_of(authorization: str, settings: Settings) -> str | None:
    """The name of the key in an ``Authorization`` field, or None."""
    scheme, _, secret = authorization.partition(" ")
    if scheme.lower() != "bearer":
        return None
    return next((key.name for key in settings.keys if key.opens(secret.strip())), None)


def _open() -> bool:
    return request.endpoint in OPEN_ENDPOINTS or request.blueprint in OPEN_BLUEPRINTS
