"""Structured logs, the same in the web server and the workers: one event a line, with the job and
part it is about."""

from __future__ import annotations

import logging
import sys
from typing import Any

import structlog

Logger = structlog.stdlib.BoundLogger


def configure(style: str = "auto") -> None:
    """Log to standard error: ``json``, ``plain``, ``auto`` (plain on a terminal, else JSON), or ``quiet``,
    which is ``auto`` with errors only."""
    json_lines = style == "json" or (style in ("auto", "quiet") and not sys.stderr.isatty())
    shared: list[Any] = [
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.add_log_level,
        structlog.stdlib.add_logger_name,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.processors.format_exc_info if json_lines else structlog.processors.StackInfoRenderer(),
    ]
    renderer: Any = (
        structlog.processors.JSONRenderer()
        if json_lines
        else structlog.dev.ConsoleRenderer(colors=sys.stderr.isatty())
    )
    handler = logging.StreamHandler()
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            foreign_pre_chain=shared,
            processors=[structlog.stdlib.ProcessorFormatter.remove_processors_meta, renderer],
        )
    )
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.ERROR if style == "quiet" else logging.INFO)
    # Celery tells of each task twice at INFO; the part's own line says more.
    for chatty in (
        "celery.worker.strategy",
        "celery.app.trace",
        "celery.beat",
        "httpx",
        "httpcore",
        "botocore",
    ):
        logging.getLogger(chatty).setLevel(logging.WARNING)
    structlog.configure(
        processors=[
            structlog.stdlib.filter_by_level,
            *shared,
            structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
        ],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.stdlib.BoundLogger,
        cache_logger_on_first_use=True,
    )


def logger(name: str) -> Logger:
    """The logger of a module."""
    found: Logger = structlog.stdlib.get_logger(name)
    return found
