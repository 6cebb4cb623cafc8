"""Who asks: keys as bearer tokens (RFC 6750), and the owner a request acts for.

A browser sends no such field with a link or a picture; there the page keeps the key in a cookie that no
script can read and no other site's form carries along (``HttpOnly``, ``SameSite=Strict``).
"""

from __future__ import annotations

from typing import NoReturn, cast

from apiflask import APIFlask
from flask import current_app, g, request
from flask_limiter.util import get_remote_address

from api.problems import Problem
from workers import logs
from workers.context import Context
from workers.keys import Key, Keyring

log = logs.logger(__name__)

LOCAL_OWNER = "local"
COOKIE = "crookline_key"
METRICS = "metrics.metrics"

# Health for whoever runs the service; the page (and its files), where a person enters the key.
OPEN_ENDPOINTS = {"health.healthz", "health.readyz", "static"}
OPEN_BLUEPRINTS = {"page"}


def register(app: APIFlask, context: Context) -> None:
    """Let every request name its owner, and refuse those without a key where there are keys."""
    settings = context.settings
    ring = Keyring(settings.keys, settings.keys_file)
    operators = Keyring(settings.operator_keys)
    app.extensions["crookline-keys"] = ring

    @app.before_request
    def identify() -> None:
        g.owner = LOCAL_OWNER
        g.known = not ring.wanted
        authorization = request.headers.get("Authorization", "")
        if operators.wanted and request.endpoint == METRICS:
            if key_of(authorization, operators) is None:
                refuse("the figures need an operator's key")
            return
        if not ring.wanted:
            return
        kept = request.cookies.get(COOKIE, "")
        found = key_of(authorization or f"Bearer {kept}", ring)
        if found is not None:
            g.owner, g.known, g.key_label = found.name, True, found.label
            return
        if authorization or (kept and not _open()):
            note_wrong_key()
        if request.method != "OPTIONS" and not _open():
            refuse("this service needs a key")


def refuse(why: str) -> NoReturn:
    """Ask for a key."""
    raise Problem(
        401,
        "key-required",
        f"{why}: send it as `Authorization: Bearer SECRET`",
        headers={"WWW-Authenticate": 'Bearer realm="crookline"'},
    )


def keyring() -> Keyring:
    """The keys of the running application."""
    return cast(Keyring, current_app.extensions["crookline-keys"])


def note_wrong_key() -> None:
    """Note a wrong key, and from where it came. Raises Problem when too many have come from there."""
    address = get_remote_address()
    wait = current_app.extensions["crookline-wrong-key"](address)
    log.warning("wrong key", address=address, path=request.path, refused_for=wait)
    if wait:
        detail = f"too many wrong keys have come from {address}; try again in {wait} s"
        raise Problem(429, "too-many-wrong-keys", detail, headers={"Retry-After": str(wait)})


def key_of(authorization: str, ring: Keyring) -> Key | None:
    """The key in an ``Authorization`` field, or None."""
    scheme, _, secret = authorization.partition(" ")
    return ring.key_of(secret.strip()) if scheme.lower() == "bearer" else None


def _open() -> bool:
    return request.endpoint in OPEN_ENDPOINTS or request.blueprint in OPEN_BLUEPRINTS
