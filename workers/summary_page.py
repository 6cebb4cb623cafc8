"""A job's summary as a page that opens by itself, without a server."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, FileSystemLoader, Template, select_autoescape

from annotator.fingering.profile import name_said
from workers import __path__ as folders

GRADES = ("1", "2", "3")


@cache
def _template() -> Template:
    loader = FileSystemLoader(list(folders))
    environment = Environment(loader=loader, autoescape=select_autoescape(), trim_blocks=True)
    return environment.get_template("summary.html")


def page(summary: Mapping[str, Any]) -> bytes:
    """The page for a summary (``crookline.summary/1``); its links lead to the files beside it."""
    options = {name: _words(name, value) for name, value in summary["options"].items()}
    return _template().render(**summary, asked=options, grades=GRADES, link=quote).encode()


def _words(name: str, value: Any) -> str:
    if name == "profile":
        return name_said(str(value))
    return ", ".join(map(str, value)) if isinstance(value, (list, tuple)) else str(value)
