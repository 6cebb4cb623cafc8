"""The way in to the application: who waits holds no thread, and what is refused is not read."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any

import httpx
import pytest
from apiflask import APIFlask
from flask import Response, request

from api import front as fronts
from api.front import Front, turn
from tests.loops import run
from workers.keys import Key
from workers.settings import Settings

KEYS = tuple(Key(name, "0" * 64) for name in ("pit", "library"))


def application(settings: Settings) -> tuple[APIFlask, threading.Event]:
    """An application with something to wait for, which an event ends."""
    app = APIFlask("tests", enable_openapi=False)
    made = threading.Event()

    @app.get("/healthz")
    def healthz() -> str:
        return "ok"

    @app.get("/made")
    def asked() -> Any:
        here = turn()
        here.again = not made.is_set()
        here.patience = float(request.args.get("patience", "20"))
        return ("here it is", 200) if made.is_set() else ("not yet", 409)

    @app.post("/length")
    def length() -> str:
        return str(len(request.get_data()))

    @app.get("/query")
    def query() -> str:
        return request.args["name"]

    @app.get("/follow")
    def follow() -> Response:
        async def texts() -> AsyncIterator[str]:
            yield "one "
            await asyncio.sleep(0)
            yield "two"

        turn().follow = texts
        return Response(mimetype="text/event-stream")

    return app, made


def client(settings: Settings, app: APIFlask) -> httpx.AsyncClient:
    """Asks the application through the front."""
    transport = httpx.ASGITransport(app=Front(app, settings))  # type: ignore[arg-type]
    return httpx.AsyncClient(transport=transport, base_url="http://localhost")


def test_who_waits_holds_no_thread() -> None:
    settings = Settings(web_threads=2)
    app, made = application(settings)

    async def crowd() -> None:
        async with client(settings, app) as here:
            waiting = [asyncio.create_task(here.get("/made")) for _ in range(60)]
            await asyncio.sleep(0.2)
            assert (await asyncio.wait_for(here.get("/healthz"), 5)).text == "ok"
            assert not any(task.done() for task in waiting)
            made.set()
            assert {answer.text for answer in await asyncio.gather(*waiting)} == {"here it is"}

    run(crowd())


def test_who_watches_is_answered_when_every_thread_waits_for_a_store_that_hangs() -> None:
    settings = Settings(web_threads=1)
    app, _ = application(settings)
    released = threading.Event()

    @app.get("/hangs")
    def hangs() -> str:
        released.wait(60)
        return "at last"

    async def crowd() -> None:
        async with client(settings, app) as here:
            waiting = [asyncio.create_task(here.get("/hangs")) for _ in range(8)]
            await asyncio.sleep(0.2)
            try:
                assert (await asyncio.wait_for(here.get("/healthz"), 5)).text == "ok"
                assert not any(task.done() for task in waiting)
            finally:
                released.set()
            assert {answer.text for answer in await asyncio.gather(*waiting)} == {"at last"}

    run(crowd())


def test_who_has_waited_long_enough_is_told_so() -> None:
    settings = Settings()
    app, _ = application(settings)

    async def wait() -> httpx.Response:
        async with client(settings, app) as here:
            return await here.get("/made?patience=0.1")

    answer = run(wait())
    assert (answer.status_code, answer.text) == (409, "not yet")


def test_a_stream_comes_from_where_the_application_says() -> None:
    settings = Settings()
    app, _ = application(settings)

    async def listen() -> httpx.Response:
        async with client(settings, app) as here:
            return await here.get("/follow")

    answer = run(listen())
    assert answer.text == "one two"
    assert "content-length" not in answer.headers


@pytest.mark.parametrize("size", [0, 1, fronts.IN_MEMORY + 1, 3_000_000])
def test_a_body_comes_whole_from_memory_or_from_a_file(size: int) -> None:
    settings = Settings()
    app, _ = application(settings)

    async def send() -> httpx.Response:
        async with client(settings, app) as here:
            return await here.post("/length", content=bytes(size))

    assert run(send()).text == str(size)


def test_a_query_may_hold_any_bytes() -> None:
    settings = Settings()
    app, _ = application(settings)
    scope = scope_of("GET", "/query", query=b"name=\xc3\xa9t\xc3\xa9")
    sent = run(answer_of(Front(app, settings), scope, nobody))
    assert sent[0]["status"] == 200
    assert b"".join(message.get("body", b"") for message in sent).decode() == "été"


def test_without_a_key_a_large_body_is_not_read() -> None:
    settings = Settings(keys=KEYS)
    app, _ = application(settings)

    for fields in ([(b"content-length", b"50000000")], [(b"transfer-encoding", b"chunked")]):
        scope = scope_of("POST", "/length", fields)
        sent = run(answer_of(Front(app, settings), scope, stays))
        assert (b"connection", b"close") in sent[0]["headers"]


def scope_of(
    method: str, path: str, fields: list[tuple[bytes, bytes]] | None = None, query: bytes = b""
) -> dict[str, Any]:
    """A request as an ASGI server tells it."""
    return {
        "type": "http",
        "http_version": "1.1",
        "method": method,
        "path": path,
        "query_string": query,
        "headers": [(b"host", b"localhost"), *(fields or [])],
        "server": ("localhost", 80),
        "client": ("127.0.0.1", 1),
    }


async def nobody() -> dict[str, Any]:
    """No body, and an asker who stays."""
    await asyncio.sleep(0)
    return {"type": "http.request"}


async def stays() -> dict[str, Any]:
    """A body that never comes, from an asker who stays."""
    await asyncio.sleep(3600)
    return {"type": "http.disconnect"}


async def answer_of(
    front: Front, scope: dict[str, Any], receive: Callable[[], Awaitable[dict[str, Any]]]
) -> list[dict[str, Any]]:
    """All that is sent in answer to a request, within five seconds."""
    sent: list[dict[str, Any]] = []

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    await asyncio.wait_for(front(scope, receive, send), 5)
    return sent
