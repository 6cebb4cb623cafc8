"""Coming in with a key, going out, and how the page looks."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

from flask import make_response, redirect, request, url_for

from api import keys
from api.page.visitor import LOOKS, blueprint, choice, render


@blueprint.post("/look")
def choose_look() -> Any:
    """Paper, pit, or as the system has it."""
    response = make_response(redirect(_back(), 303))
    look = choice(request.form.get("look", ""), LOOKS)
    response.set_cookie("crookline_look", look, max_age=365 * 86_400, samesite="Lax")
    return response


@blueprint.post("/key")
def enter_key() -> Any:
    """Keep a key in this browser, for links and pictures that cannot send it in a header."""
    secret = request.form.get("key", "").strip()
    if keys.key_of(f"Bearer {secret}", keys.keyring()) is None:
        keys.note_wrong_key()
        return make_response(render("key.html", wrong=True), 401)
    response = make_response(redirect(url_for("page.home"), 303))
    response.set_cookie(keys.COOKIE, secret, httponly=True, samesite="Strict", secure=request.is_secure)
    return response


@blueprint.post("/leave")
def leave() -> Any:
    """Forget the key in this browser."""
    response = make_response(redirect(url_for("page.home"), 303))
    response.delete_cookie(keys.COOKIE)
    return response


def _back() -> str:
    """The page the form was on, if it is one of ours."""
    came = urlsplit(request.referrer or "")
    if came.netloc != request.host or not came.path.startswith("/"):
        return url_for("page.home")
    return came.path + (f"?{came.query}" if came.query else "")
