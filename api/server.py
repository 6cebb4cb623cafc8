"""The web server, and the whole service on one machine."""

from __future__ import annotations

import asyncio
import math
import signal
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from ipaddress import ip_address
from types import FrameType

import uvicorn
from apiflask import APIFlask
from uvicorn.protocols.http.h11_impl import H11Protocol

from api.app import create_app
from api.front import Front
from workers.context import adopt
from workers.embedded import CannotStart, backend
from workers.settings import BadSetting, Settings, variable

SILENT_SECONDS = 15
BACKLOG = 1024


@dataclass(frozen=True, slots=True)
class Running:
    """A service that runs: its address, and the settings in use."""

    url: str
    settings: Settings
    server: _Server
    listening: socket.socket


@contextmanager
def service(settings: Settings, *, workers: bool = True) -> Iterator[Running]:
    """The whole service, or without workers the web server alone (then ``redis_url`` must be set).

    The web server listens but answers only while ``run`` or ``in_background`` runs.
    Raises BadSetting and CannotStart.
    """
    check_exposure(settings)
    if not workers:
        if not settings.redis_url:
            raise BadSetting(f"without workers of its own the service needs {variable('redis_url')}")
        with _web(settings.with_absolute_store()) as running:
            yield running
        return
    with backend(settings) as behind, _web(behind) as running:
        yield running


def run(running: Running) -> None:
    """Answer requests until SIGTERM or SIGINT comes; what is being answered then is answered."""

    def end(number: int, frame: FrameType | None) -> None:
        raise SystemExit(0)

    # The server hands a signal on when it has come to its end.
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, end)
    _allow_connections()
    running.server.run(sockets=[running.listening])


@contextmanager
def in_background(running: Running) -> Iterator[None]:
    """Answer requests in a thread for the time of the block."""
    thread = threading.Thread(
        target=running.server.run, kwargs={"sockets": [running.listening]}, name="web", daemon=True
    )
    thread.start()
    try:
        yield
    finally:
        running.server.should_exit = True
        thread.join(running.settings.stop_seconds + 5)


def check_exposure(settings: Settings) -> None:
    """Raises BadSetting when the service would be open to the network without keys."""
    if not (settings.keys or settings.keys_file) and not is_loopback(settings.host):
        raise BadSetting(
            f"without keys the service listens on this machine only, not on {settings.host}; "
            f"make a key with `crookline key NAME` and set {variable('keys')}"
        )


def is_loopback(host: str) -> bool:
    """Whether an address to listen on can be reached from this machine only."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


@contextmanager
def _web(settings: Settings) -> Iterator[Running]:
    adopt(settings)
    app: APIFlask = create_app(settings)
    listening = _listen(settings)
    with listening:
        port = listening.getsockname()[1]
        shown = f"[{settings.host}]" if ":" in settings.host else settings.host
        front = Front(app, settings)
        config = uvicorn.Config(
            front,
            http=_Prompt,
            loop="asyncio",
            ws="none",
            lifespan="off",
            log_config=None,
            log_level="warning",
            access_log=False,
            server_header=False,
            headers=[("server", "crookline")],
            timeout_graceful_shutdown=math.ceil(settings.stop_seconds),
            timeout_keep_alive=SILENT_SECONDS,
            proxy_headers=bool(settings.trusted_proxies),
            forwarded_allow_ips=list(settings.trusted_proxies),
        )
        yield Running(
            f"http://{shown}:{port}", replace(settings, port=port), _Server(config, front), listening
        )


def _listen(settings: Settings) -> socket.socket:
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    try:
        return socket.create_server((settings.host, settings.port), family=family, backlog=BACKLOG)
    except (OSError, UnicodeError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        what = f"cannot listen on {settings.host} port {settings.port}: {reason}"
        raise CannotStart(f"{what}; choose another with --port or {variable('port')}") from None


class _Server(uvicorn.Server):
    """A web server that lets its event streams end when it is told to."""

    def __init__(self, config: uvicorn.Config, front: Front) -> None:
        super().__init__(config)
        self._front = front

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Answer what is being answered, for at most ``stop_seconds``."""
        self._front.closing.set()
        await super().shutdown(sockets)


class _Prompt(H11Protocol):
    """HTTP/1.1 that lets go of a connection on which no request ever comes."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin; the time for the first request is that between two."""
        super().connection_made(transport)
        self.timeout_keep_alive_task = self.loop.call_later(
            self.timeout_keep_alive, self.timeout_keep_alive_handler
        )


def _allow_connections() -> None:
    """As many open connections as the system lets this process have: one that is silent costs no more."""
    with suppress(ImportError, OSError, ValueError):
        import resource  # noqa: PLC0415 - not on Windows, where the limit is another matter

        _, most = resource.getrlimit(resource.RLIMIT_NOFILE)
        resource.setrlimit(resource.RLIMIT_NOFILE, (most, most))
