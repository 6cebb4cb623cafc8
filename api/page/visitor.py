"""Who visits the page: a browser with a key or without, the look it likes, and nobody else's forms.

The blueprint of the page; its pages are in ``api.page.routes``.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

from apiflask import APIBlueprint
from flask import Response, g, make_response, redirect, render_template, request, url_for

from api import keys
from api.origins import same_site
from api.problems import Problem

blueprint = APIBlueprint("page", __name__, enable_openapi=False)

LOOKS = ("auto", "paper", "pit")
# Scripts, styles and pictures from here only, none inside the page, and no other site may frame it.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "font-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)


@blueprint.before_request
def guard() -> Any:
    """Refuse forms sent by other sites, and ask for a key where the service wants one."""
    if request.method == "POST" and not same_site(request):
        return refusal("This form was sent from another site. Open this page and send it from there."), 403
    if request.endpoint not in ("page.enter_key", "page.choose_look") and not g.known:
        return make_response(render("key.html", wrong=False), 401)
    return None


@blueprint.after_request
def protect(response: Response) -> Response:
    """The headers of a page."""
    response.headers["Content-Security-Policy"] = POLICY
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "same-origin"
    response.headers.setdefault("Cache-Control", "no-store")
    return response


@blueprint.errorhandler(Problem)
def problem(error: Problem) -> Any:
    """A problem in words, with a way back."""
    return refusal(error.detail), error.status


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


def choice(value: str, among: Any) -> str:
    """``value`` if it is one of those, else the first of them."""
    choices = list(among)
    return value if value in choices else choices[0]


def sentence(message: str) -> str:
    return f"{message[:1].upper()}{message[1:]}" + ("" if message.endswith((".", "?", "!")) else ".")


def refusal(message: str) -> str:
    return render("refusal.html", message=sentence(message))


def render(template: str, **values: Any) -> str:
    look = choice(request.cookies.get("crookline_look", ""), LOOKS)
    return render_template(
        template, look=look, looks=LOOKS, keyed=keys.keyring().wanted, known=g.known, **values
    )
