"""Progress as server-sent events, read as the HTML Standard, section 9.2, tells a browser to."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import httpx
import pytest

from tests.service.conftest import Service, ended, post
from tests.service.scores import BAD_SCORE, score


@dataclass(frozen=True, slots=True)
class Event:
    """What a browser would dispatch: type, data, and the last event id at that moment."""

    kind: str
    data: str
    last_id: str


def interpret(text: str) -> Iterator[Event]:
    """The steps of 9.2.6, "Interpreting an event stream", written from the standard."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    data, kind, last_id = "", "", ""
    for line in text.split("\n")[:-1]:
        if line == "":
            if data:
                yield Event(kind or "message", data.removesuffix("\n"), last_id)
            data, kind = "", ""
        elif not line.startswith(":"):
            field, _, value = line.partition(":")
            value = value.removeprefix(" ")
            if field == "event":
                kind = value
            elif field == "data":
                data += value + "\n"
            elif field == "id" and "\0" not in value:
                last_id = value
            elif field == "retry":
                assert value.isascii()
                assert value.isdigit()
            else:
                assert field in ("id",), f"a field no browser knows: {field}"


def stream(client: httpx.Client, job_id: str, last_id: str = "") -> httpx.Response:
    """The whole stream of a job's events."""
    headers = {"Last-Event-ID": last_id} if last_id else {}
    return client.get(f"/v1/jobs/{job_id}/events", headers=headers)


def test_the_stream_tells_of_every_part_and_ends_with_the_job(client: httpx.Client) -> None:
    files = [(f"{n}.xml", score("F", title=f"Told {n}")) for n in range(5)]
    job = post(client, *files, ("bad.xml", BAD_SCORE)).json()
    answer = stream(client, job["id"])
    # 9.2.5: the media type, always UTF-8
    assert answer.headers["Content-Type"].partition(";")[0] == "text/event-stream"
    assert answer.headers["Cache-Control"] == "no-cache"
    events = list(interpret(answer.content.decode("utf-8")))
    assert {event.kind for event in events} == {"job", "part"}
    ends = {
        note["n"]: note
        for event in events
        if event.kind == "part"
        for note in [json.loads(event.data)]
        if note["state"] in ("done", "failed")
    }
    assert sorted(ends) == [1, 2, 3, 4, 5, 6]
    assert ends[6]["state"] == "failed"
    assert ends[6]["reason"]["message"]
    assert json.loads(events[-1].data) == {"id": job["id"], "state": "partly"}


def test_a_broken_stream_goes_on_where_it_broke(client: httpx.Client) -> None:
    files = [(f"{n}.xml", score("E", title=f"Broken {n}")) for n in range(6)]
    job_id = post(client, *files).json()["id"]
    whole = [event for event in interpret(stream(client, job_id).text) if event.last_id]
    for cut in (0, len(whole) // 2, len(whole) - 2):
        seen, rest = whole[: cut + 1], stream(client, job_id, whole[cut].last_id)
        events = [event for event in interpret(rest.text) if event.last_id]
        assert seen + events == whole


def test_who_has_seen_it_all_is_told_to_stop(client: httpx.Client, mixed_job: dict[str, Any]) -> None:
    # 9.2.3: a browser that is answered 204 No Content does not come again.
    last = list(interpret(stream(client, mixed_job["id"]).text))[-1].last_id
    answer = stream(client, mixed_job["id"], last)
    assert answer.status_code == 204
    assert answer.content == b""


@pytest.mark.parametrize("last_id", ["nonsense", "1-1", "99999999999999-0", "-", "1-1; DROP"])
def test_any_last_event_id_is_coped_with(
    client: httpx.Client, mixed_job: dict[str, Any], last_id: str
) -> None:
    assert stream(client, mixed_job["id"], last_id).status_code in (200, 204)


def test_the_stream_of_a_deleted_job_ends(client: httpx.Client, service: Service) -> None:
    files = [(f"{n}.xml", score("F", 60, f"Gone {n}")) for n in range(40)]
    job_id = post(client, *files).json()["id"]
    heard: list[str] = []
    begun = threading.Event()

    def listen() -> None:
        with httpx.stream("GET", f"{service.url}/v1/jobs/{job_id}/events", timeout=60) as answer:
            for line in answer.iter_lines():
                heard.append(line)
                begun.set()

    thread = threading.Thread(target=listen)
    thread.start()
    assert begun.wait(20)
    client.delete(f"/v1/jobs/{job_id}")
    thread.join(30)
    assert not thread.is_alive()
    assert json.loads(heard[-2].removeprefix("data: "))["state"] == "deleted"


def test_polling_is_told_when_to_come_again(client: httpx.Client) -> None:
    # RFC 9110, 10.2.3 Retry-After
    files = [(f"{n}.xml", score("F", 40, f"Polled {n}")) for n in range(30)]
    job_id = post(client, *files).json()["id"]
    answer = client.get(f"/v1/jobs/{job_id}")
    assert answer.json()["state"] in ("queued", "running")
    assert int(answer.headers["Retry-After"]) >= 1
    early = client.get(f"/v1/jobs/{job_id}/archive")
    assert early.status_code == 409
    assert int(early.headers["Retry-After"]) >= 1
    ended(client, job_id)
    assert "Retry-After" not in client.get(f"/v1/jobs/{job_id}").headers


def test_a_closed_stream_frees_its_place(client: httpx.Client) -> None:
    job_id = post(client, *[(f"{n}.xml", score("F", 60, f"Places {n}")) for n in range(20)]).json()["id"]
    for _ in range(40):
        with client.stream("GET", f"/v1/jobs/{job_id}/events") as answer:
            if answer.status_code == 503:
                assert answer.headers["Retry-After"]
                continue
            next(answer.iter_lines())
    ended(client, job_id)
    assert stream(client, job_id).status_code == 200
