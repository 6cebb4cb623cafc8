"""Errors as problem documents (RFC 9457): one class each, one shape for all.

``type`` is a page that tells of the problem, ``code`` the same word as in reports and logs,
``errors`` names the fields that are wrong.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

import redis
import structlog
from apiflask import APIFlask
from apiflask.exceptions import HTTPError
from flask import Response, jsonify, request
from kombu.exceptions import OperationalError

from annotator.errors import BadOption, CrooklineError
from workers import logs
from workers.acceptance import BadCallback, UsedBefore
from workers.intake import BadUpload
from workers.quotas import NoRoom, QueueFull

MEDIA_TYPE = "application/problem+json"
log = logs.logger(__name__)

# What each code means, for the documentation page; a code not listed here is an HTTP status as it stands.
MEANINGS = {
    "bad-option": "An option has a value it cannot have; `errors` names it.",
    "bad-upload": "What was sent cannot become a job: there is no score in it that can be worked on.",
    "too-large": "The request, or what it unpacks to, goes beyond a limit of this service.",
    "invalid-request": "The request's fields are not as described; `errors` names each.",
    "unsupported-media-type": "The request's body is of a kind not taken here; `Accept` says which is.",
    "too-many-wrong-keys": "Too many wrong keys came from this address; `Retry-After` says when to go on.",
    "wrong-host": "The service is not known under the name in the `Host` field.",
    "cross-site": "A browser sent this for a page of another site, whose origin is not allowed.",
    "key-required": "The request needs a key: `Authorization: Bearer SECRET`.",
    "no-such-job": "There is no job of that id for this key; it may have been deleted, or be past its time.",
    "no-such-part": "The job has no part of that number.",
    "no-plan": "The job was sent without the option `plan`, so there is no plan of it.",
    "part-failed": "The part has no results; `reason` says why.",
    "not-ready": "The work is not done yet; ask again after the seconds of `Retry-After`.",
    "not-acceptable": "The result exists, but in none of the media types asked for.",
    "idempotency-conflict": "The Idempotency-Key was used before, with another request.",
    "bad-callback": "The callback cannot be used; `detail` says why.",
    "no-such-instrument": "There is no instrument of that id.",
    "result-failed": "What was asked for cannot be made of this part or job; `detail` says why.",
    "unavailable": "The queue or the store cannot be reached; ask again after the seconds of `Retry-After`.",
    "no-room": "This key keeps as much as it may; remove jobs, or wait until old ones expire.",
    "queue-full": "As much is waiting as may; send it again after the seconds of `Retry-After`.",
    "too-many-requests": "This key has used up what it may; `Retry-After` says when it may go on.",
}


class Problem(Exception):
    """Raise to answer with a problem document."""

    def __init__(
        self,
        status: int,
        code: str,
        detail: str,
        *,
        errors: Sequence[Mapping[str, str]] = (),
        headers: Mapping[str, str] | None = None,
        **more: Any,
    ) -> None:
        super().__init__(detail)
        self.status = status
        self.code = code
        self.detail = detail
        self.errors = errors
        self.headers = dict(headers or {})
        self.more = more

    def response(self) -> Response:
        """The answer."""
        known = self.code in MEANINGS
        body: dict[str, Any] = {
            "type": f"{request.script_root}/docs#{self.code}" if known else "about:blank",
            "title": self.code.replace("-", " ").capitalize() if known else HTTPStatus(self.status).phrase,
            "status": self.status,
            "detail": self.detail,
            "instance": request.path,
            "code": self.code,
            **self.more,
        }
        if self.errors:
            body["errors"] = list(self.errors)
        response = jsonify(body)
        response.status_code = self.status
        response.headers.extend(self.headers)
        response.content_type = MEDIA_TYPE
        return response


def not_ready(what: str) -> Problem:
    """The answer to who comes too early."""
    return Problem(409, "not-ready", what, headers={"Retry-After": "1"})


def from_error(error: CrooklineError) -> Problem:
    """The problem for an error of the library."""
    if isinstance(error, BadOption):
        pointer = f"/options/{error.field}" if error.field else "/options"
        return Problem(
            422,
            error.code,
            error.message,
            errors=[{"field": error.field or "options", "pointer": pointer, "detail": error.message}],
        )
    if isinstance(error, BadUpload):
        fault = [{"field": "files", "pointer": "/files", "detail": error.message}]
        return Problem(
            413 if error.too_large else 422,
            "too-large" if error.too_large else error.code,
            error.message,
            errors=fault,
        )
    if isinstance(error, BadCallback):
        fault = [{"field": error.field, "pointer": f"/{error.field}", "detail": error.message}]
        return Problem(422, error.code, error.message, errors=fault)
    if isinstance(error, (NoRoom, QueueFull)):
        status = 507 if isinstance(error, NoRoom) else 503
        return Problem(status, error.code, error.message, headers={"Retry-After": str(error.retry_after)})
    if isinstance(error, UsedBefore):
        return Problem(409, error.code, error.message)
    return Problem(422, error.code, str(error))


def register(app: APIFlask) -> None:
    """Let every error of the application be answered with a problem document."""

    @app.error_processor
    def http_error(error: HTTPError) -> Any:
        if error.status_code == 422 and isinstance(error.detail, dict) and error.detail:
            return _invalid(error.detail).response()
        code = {413: "too-large", 429: "too-many-requests"}.get(error.status_code, "")
        headers = {name: str(value) for name, value in dict(error.headers or {}).items()}
        headers.pop("Content-Length", None)
        detail = str(error.message or HTTPStatus(error.status_code).phrase)
        return Problem(
            error.status_code, code or _slug(error.status_code), detail, headers=headers
        ).response()

    @app.errorhandler(Problem)
    def problem(error: Problem) -> Response:
        return error.response()

    @app.errorhandler(CrooklineError)
    def library_error(error: CrooklineError) -> Response:
        return from_error(error).response()

    @app.errorhandler(redis.RedisError)
    @app.errorhandler(OperationalError)
    @app.errorhandler(OSError)
    def unavailable(error: Exception) -> Response:
        log.error("cannot reach the queue or the store", error=repr(error))
        detail = "the queue or the store cannot be reached at the moment"
        return Problem(503, "unavailable", detail, headers={"Retry-After": "5"}).response()

    @app.errorhandler(Exception)
    def fault(error: Exception) -> Response:
        log.exception("fault", error=repr(error))
        number = structlog.contextvars.get_contextvars().get("request", "?")
        detail = f"a fault in the program; the log tells more under request {number}"
        return Problem(500, "internal-server-error", detail).response()


def _slug(status: int) -> str:
    return HTTPStatus(status).phrase.lower().replace(" ", "-").replace("'", "")


def _invalid(detail: Mapping[str, Any]) -> Problem:
    """The problem for a validation error, ``{location: {field: [message, …]}}``."""
    errors = [
        {"field": field, "pointer": f"/{field}", "detail": message}
        for fields in detail.values()
        if isinstance(fields, Mapping)
        for field, messages in fields.items()
        for message in _flat(messages)
    ]
    what = "; ".join(f"{error['field']}: {error['detail']}" for error in errors)
    return Problem(422, "invalid-request", what or "the request is not as described", errors=errors)


def _flat(messages: Any) -> list[str]:
    if isinstance(messages, Mapping):
        return [message for inner in messages.values() for message in _flat(inner)]
    if isinstance(messages, (list, tuple)):
        return [message for inner in messages for message in _flat(inner)]
    return [str(messages)]
