"""A client for the service: send files, follow the work, fetch what came of it.

    >>> with Client("http://127.0.0.1:8080") as client:
    ...     job = client.submit([("tromba.musicxml", data)], {"instrument": "c-trumpet"})
    ...     job = client.wait(job.id)
    ...     client.annotated(job.id, 1)

``httpx`` is imported when a client is made, so that the command line stays quick.
"""

from __future__ import annotations

import json
import secrets
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self
from urllib.parse import urlsplit

from annotator.errors import CrooklineError
from annotator.extras import extras

if TYPE_CHECKING:
    import httpx

TRIES = 8
LONGEST_WAIT = 30.0
EndedStates = ("done", "partly", "failed")
BUSY = (429, 503)


class ServiceError(CrooklineError):
    """The service refused, or could not be reached. ``status`` is 0 when there was no answer;
    ``problem`` is the problem document (RFC 9457), if there was one."""

    code = "service-error"

    def __init__(self, message: str, *, status: int = 0, problem: Mapping[str, Any] | None = None) -> None:
        super().__init__(message)
        self.status = status
        self.problem = dict(problem or {})


@dataclass(frozen=True, slots=True)
class PartState:
    """One file of a job. ``reason`` is why it failed, for people; ``seconds`` is the work on it."""

    n: int
    name: str
    state: str
    seconds: float
    cached: bool
    reason: str
    summary: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class JobState:
    """How a job stands. ``progress`` is the share of the parts that have ended, 0 to 1."""

    id: str
    state: str
    progress: float
    counts: Mapping[str, int]
    parts: tuple[PartState, ...]
    skipped: tuple[tuple[str, str], ...]

    @property
    def ended(self) -> bool:
        """Whether nothing will change any more."""
        return self.state in EndedStates

    @classmethod
    def from_document(cls, values: Mapping[str, Any]) -> JobState:
        """From the service's JSON."""
        return cls(
            id=values["id"],
            state=values["state"],
            progress=values["progress"],
            counts=values["counts"],
            parts=tuple(
                PartState(
                    n=part["n"],
                    name=part["name"],
                    state=part["state"],
                    seconds=part.get("seconds", 0.0),
                    cached=part.get("cached", False),
                    reason=(part.get("reason") or {}).get("message", ""),
                    summary=part.get("summary", {}),
                )
                for part in values["parts"]
            ),
            skipped=tuple((entry["name"], entry["reason"]) for entry in values["skipped"]),
        )


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened: ``kind`` is ``part`` or ``job``."""

    id: str
    kind: str
    data: Mapping[str, Any]


class Client:
    """A service at a base address, with the key's secret where it has keys.

    Every method raises ServiceError. When the service is busy (429, 503) or does not answer, a
    request is tried again, after the time the service names.
    """

    def __init__(self, url: str, *, secret: str = "", timeout: float = 60.0) -> None:
        with extras("a client of the service"):
            import httpx  # noqa: PLC0415 - 100 ms that the commands without a service do not need

        if urlsplit(url).scheme not in ("http", "https"):
            raise ServiceError(f"the address of a service starts with http:// or https://, not {url!r}")
        headers = {"Authorization": f"Bearer {secret}"} if secret else {}
        self._error: type[httpx.HTTPError] = httpx.HTTPError
        self._http = httpx.Client(base_url=url.rstrip("/"), headers=headers, timeout=timeout)
        self.url = url.rstrip("/")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the connections."""
        self._http.close()

    def submit(
        self, files: Sequence[tuple[str, bytes]], options: Mapping[str, Any] | None = None, **fields: str
    ) -> JobState:
        """Send files (name, bytes) as one job. Sent again after a broken connection it is still one job.

        ``fields`` are further fields of the form, such as ``callback_url``.
        """
        response = self._request(
            "POST",
            "/v1/jobs",
            files=[("files", file) for file in files],
            data={"options": json.dumps(dict(options or {})), **fields},
            headers={"Idempotency-Key": secrets.token_hex(16)},
        )
        return JobState.from_document(response.json())

    def job(self, job_id: str) -> JobState:
        """How a job stands."""
        return JobState.from_document(self._request("GET", f"/v1/jobs/{job_id}").json())

    def events(self, job_id: str) -> Iterator[Event]:
        """What happens to a job until it has ended; a broken connection is taken up where it broke."""
        last, failures = "", 0
        while failures < TRIES:
            headers = {"Last-Event-ID": last} if last else {}
            try:
                with self._http.stream("GET", f"/v1/jobs/{job_id}/events", headers=headers) as response:
                    if response.status_code == 204:
                        return
                    if response.status_code in BUSY:
                        failures += 1
                        time.sleep(_wait(response, failures))
                        continue
                    if response.is_error:
                        response.read()
                        raise _refusal(response)
                    over = False
                    for event in parse_events(response.iter_lines()):
                        last, failures = event.id or last, 0
                        yield event
                        over = event.kind == "job" and event.data["state"] in (*EndedStates, "deleted")
                        if over and event.id:
                            return
                        # Without an id it is how the job stood when the stream began: more may follow.
                    if over:
                        return
            except self._error as error:
                failures += 1
                if failures == TRIES:
                    raise self._lost(error) from None
                time.sleep(min(0.1 * 2**failures, 5))

    def wait(self, job_id: str, tell: Callable[[Event], None] | None = None) -> JobState:
        """Follow a job to its end; ``tell`` hears of every event. Gives how it stands then."""
        while True:
            for event in self.events(job_id):
                if tell is not None:
                    tell(event)
            job = self.job(job_id)
            if job.ended:
                return job
            time.sleep(0.5)

    def annotated(self, job_id: str, n: int) -> bytes:
        """The n-th file with its marks."""
        return self._request("GET", f"/v1/jobs/{job_id}/parts/{n}/annotated").content

    def report(self, job_id: str, n: int) -> dict[str, Any]:
        """The report on the n-th file."""
        found: dict[str, Any] = self._request("GET", f"/v1/jobs/{job_id}/parts/{n}/report").json()
        return found

    def plan(self, job_id: str, seconds: float = 300.0) -> dict[str, Any]:
        """The concert plan of a job that has ended and was sent with the option ``plan``; waited for so long
        while the service makes it."""
        until = time.monotonic() + seconds
        while True:
            try:
                found: dict[str, Any] = self._request("GET", f"/v1/jobs/{job_id}/plan").json()
            except ServiceError as error:
                if error.problem.get("code") != "not-ready" or time.monotonic() > until:
                    raise
                time.sleep(0.5)
            else:
                return found

    def archive(self, job_id: str) -> bytes:
        """Everything of a job that has ended, as a .zip."""
        return self._request("GET", f"/v1/jobs/{job_id}/archive").content

    def delete(self, job_id: str) -> None:
        """Stop a job and remove its files from the service."""
        self._request("DELETE", f"/v1/jobs/{job_id}")

    def _request(self, method: str, path: str, **more: Any) -> httpx.Response:
        for attempt in range(1, TRIES + 1):
            try:
                response = self._http.request(method, path, **more)
            except self._error as error:
                if attempt == TRIES:
                    raise self._lost(error) from None
                time.sleep(min(0.1 * 2**attempt, 5))
                continue
            if response.status_code in BUSY and attempt < TRIES:
                time.sleep(_wait(response, attempt))
                continue
            if response.is_error:
                raise _refusal(response)
            return response
        raise AssertionError("unreachable")

    def _lost(self, error: Exception) -> ServiceError:
        return ServiceError(f"the service at {self.url} does not answer ({error or type(error).__name__})")


def parse_events(lines: Iterator[str]) -> Iterator[Event]:
    """The events of an event stream (HTML Standard, 9.2.6), whose data is JSON."""
    event_id, kind, data = "", "", list[str]()
    for line in lines:
        field, _, value = line.partition(":")
        value = value.removeprefix(" ")
        if line == "":
            if data:
                yield Event(event_id, kind or "message", json.loads("\n".join(data)))
            kind, data = "", []
        elif field == "data":
            data.append(value)
        elif field == "event":
            kind = value
        elif field == "id" and "\0" not in value:
            event_id = value


def _wait(response: httpx.Response, attempt: int) -> float:
    told = response.headers.get("Retry-After", "")
    return min(float(told) if told.isdigit() else 0.2 * 2**attempt, LONGEST_WAIT)


def _refusal(response: httpx.Response) -> ServiceError:
    try:
        problem = response.json()
    except ValueError:
        problem = {}
    detail = problem.get("detail") if isinstance(problem, dict) else None
    return ServiceError(
        str(detail or f"the service answered {response.status_code} {response.reason_phrase}"),
        status=response.status_code,
        problem=problem if isinstance(problem, dict) else None,
    )
