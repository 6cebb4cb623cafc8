"""The way in: HTTP is spoken without threads, the application answers in a few, and who waits costs none.

A request is taken in whole (its body into memory or a temporary file) before a thread answers it; one that
will be refused for its key, its host or its length is refused with its body unread. The application says
through the request's ``Turn`` that it has to be asked again soon (a result is being made), or that the
answer is a stream of events; both are waited for here. No asker holds more than half of the threads.
"""

from __future__ import annotations

import asyncio
import tempfile
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from io import BytesIO
from typing import IO, Any, cast

from a2wsgi import WSGIMiddleware
from apiflask import APIFlask
from flask import request
from werkzeug.http import parse_cookie

from api import keys
from workers.keys import Keyring
from workers.settings import Settings

Scope = dict[str, Any]
Message = dict[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Follow = Callable[[], AsyncIterator[str]]

TURN = "crookline.turn"
IN_MEMORY = 1_000_000
WAIT_SECONDS = 20.0
FIRST_PAUSE, LONGEST_PAUSE = 0.02, 0.5
UNASKED = ("/healthz", "/readyz")  # answered whoever else waits


@dataclass(slots=True)
class Turn:
    """One time that the application is asked. ``body`` is the request's.

    The application sets ``again`` where the answer is not ready but may soon be, or ``follow`` where the
    body of its answer is to come from there; ``patience``: for how many seconds in all it may be asked;
    ``ended`` is called when the request is done with.
    """

    body: IO[bytes] = field(default_factory=BytesIO)
    first: bool = True
    last: bool = False
    again: bool = False
    patience: float = WAIT_SECONDS
    follow: Follow | None = None
    ended: Callable[[], None] = lambda: None

    @property
    def dropped(self) -> bool:
        """Whether nobody will see this answer, since the application will be asked once more."""
        return self.again and not self.last


def turn() -> Turn:
    """The turn of the request at hand (behind another server: one that nobody looks at)."""
    scope = cast("Scope", request.environ.get("asgi.scope", {}))
    return cast(Turn, scope.get(TURN) or Turn())


class Front:
    """The service as an ASGI application (version 3)."""

    def __init__(self, app: APIFlask, settings: Settings) -> None:
        self._settings = settings
        self._ring = Keyring(settings.keys, settings.keys_file)
        self._application = WSGIMiddleware(_with_body(app), workers=settings.web_threads)
        # Threads of their own, for when a store hangs all others may wait for it.
        self._watched = WSGIMiddleware(_with_body(app), workers=4)
        self._share = max(1, settings.web_threads // 2)
        self._shares: dict[str, _Share] = {}
        self.closing = asyncio.Event()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return
        headers = {name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]}
        known = self._known(headers)
        length = headers.get("content-length", "0")
        announced = int(length) if length.isdigit() else 0
        # The application refuses by the key, or by the length that is announced, without reading the body.
        read = announced <= (self._settings.max_upload if known else IN_MEMORY) and (
            bool(known) or "transfer-encoding" not in headers
        )
        body = await self._taken_in(receive) if read else BytesIO()
        if body is None:
            return
        if not read:
            send = _closing(send)
        asker = known if self._ring.wanted and known else str((scope.get("client") or ("?",))[0])
        with body:
            await self._answer(scope, send, body, receive, "" if scope["path"] in UNASKED else asker)

    async def _answer(self, scope: Scope, send: Send, body: IO[bytes], receive: Receive, asker: str) -> None:
        loop = asyncio.get_running_loop()
        gone = asyncio.ensure_future(_left(receive))
        began, pause, patience, now = loop.time(), FIRST_PAUSE, 1.0, Turn(body)
        try:
            while True:
                body.seek(0)
                now.last = loop.time() - began >= patience or self.closing.is_set()
                answer = _Answer(send, now)
                async with self._place(asker):
                    await (self._watched if scope["path"] in UNASKED else self._application)(
                        cast(Any, {**scope, "query_string": _ascii(scope["query_string"]), TURN: now}),
                        cast(Any, receive),
                        cast(Any, answer),
                    )
                if not now.dropped:
                    break
                await asyncio.wait({gone}, timeout=pause)
                if gone.done():
                    return
                patience, pause = now.patience, min(LONGEST_PAUSE, 2 * pause)
                now = Turn(body, first=False)
            if now.follow is not None and answer.held:
                await self._stream(now.follow(), send, gone)
        finally:
            now.ended()
            gone.cancel()

    async def _stream(self, texts: AsyncIterator[str], send: Send, gone: asyncio.Future[None]) -> None:
        """Send on what comes until it ends, the reader leaves, or the server closes."""
        closing = asyncio.ensure_future(self.closing.wait())
        try:
            while True:
                coming = asyncio.ensure_future(anext(texts))
                await asyncio.wait(
                    [cast("asyncio.Future[Any]", one) for one in (coming, gone, closing)],
                    return_when=asyncio.FIRST_COMPLETED,
                )
                if not coming.done():
                    coming.cancel()
                    with suppress(asyncio.CancelledError, StopAsyncIteration):
                        await coming
                    break
                try:
                    text = coming.result()
                except StopAsyncIteration:
                    break
                await send({"type": "http.response.body", "body": text.encode(), "more_body": True})
        finally:
            closing.cancel()
            await cast(Any, texts).aclose()
        if not gone.done():
            await send({"type": "http.response.body", "body": b""})

    @asynccontextmanager
    async def _place(self, asker: str) -> AsyncIterator[None]:
        """One of the threads that this asker may hold at a time."""
        if not asker:
            yield
            return
        share = self._shares.setdefault(asker, _Share(asyncio.Semaphore(self._share)))
        share.asking += 1
        try:
            async with share.places:
                yield
        finally:
            share.asking -= 1
            if not share.asking:
                del self._shares[asker]

    def _known(self, headers: dict[str, str]) -> str:
        """The owner whose key came with the request; without keys nobody has to be known."""
        if not self._ring.wanted:
            return "-"
        cookie = parse_cookie(headers.get("cookie", "")).get(keys.COOKIE, "")
        found = keys.key_of(headers.get("authorization") or f"Bearer {cookie}", self._ring)
        return found.name if found else ""

    async def _taken_in(self, receive: Receive) -> IO[bytes] | None:
        """The request's body; None where its sender has left before its end."""
        body = tempfile.SpooledTemporaryFile(IN_MEMORY)  # noqa: SIM115 - closed by who answers
        size, more = 0, True
        while more:
            message = await receive()
            if message["type"] == "http.disconnect":
                body.close()
                return None
            chunk, more = message.get("body", b""), message.get("more_body", False)
            size += len(chunk)
            if size <= self._settings.max_upload + len(chunk):
                body.write(chunk)  # what goes beyond is dropped: the application sees that it is too long
        return cast("IO[bytes]", body)


@dataclass(slots=True)
class _Share:
    places: asyncio.Semaphore
    asking: int = 0


class _Answer:
    """Passes on what the application answers; drops an answer that is to be asked for again."""

    def __init__(self, send: Send, turn: Turn) -> None:
        self._send = send
        self._turn = turn
        self.held = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            if self._turn.follow is not None:
                headers = [pair for pair in message["headers"] if pair[0] != b"content-length"]
                message = {**message, "headers": headers}
        elif self._turn.follow is not None and not message.get("more_body"):
            self.held = True
            return
        if not self._turn.dropped:
            await self._send(message)


def _with_body(app: APIFlask) -> Any:
    """The application, reading a body that is there already."""

    def application(environ: Any, start_response: Any) -> Any:
        body = environ["asgi.scope"][TURN].body
        environ["wsgi.input"] = body
        environ["wsgi.input_terminated"] = True
        return app(environ, start_response)

    return application


async def _left(receive: Receive) -> None:
    """Until the asker has left."""
    while (await receive())["type"] != "http.disconnect":
        pass


def _closing(send: Send) -> Send:
    """``send``, with the connection closed after the answer, since a body stands unread in it."""

    async def closing(message: Message) -> None:
        if message["type"] == "http.response.start":
            message = {**message, "headers": [*message["headers"], (b"connection", b"close")]}
        await send(message)

    return closing


def _ascii(query: bytes) -> bytes:
    """A query string in ASCII, as WSGI wants it; other bytes are percent-encoded (RFC 3986, 2.1)."""
    return b"".join(b"%%%02X" % byte if byte > 0x7E else bytes((byte,)) for byte in query)
