"""Who visits the page: a browser with a key or without, the look it likes, and nobody else's forms.

The blueprint of the page, and what all its pages share; it has no page of its own.
"""

from __future__ import annotations

from typing import Any

from apiflask import APIBlueprint
from flask import Response, g, make_response, render_template, request

from annotator.errors import BadOption
from annotator.instruments import load
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


def instrument_name(instrument: str) -> str:
    """The name of a trumpet, or its id where it has none."""
    try:
        return load(instrument).name
    except BadOption:
        return instrument
