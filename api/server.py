"""The web server, and the whole service on one machine."""

from __future__ import annotations

import errno
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from ipaddress import ip_address
from types import FrameType
from typing import Any

from apiflask import APIFlask
from waitress.server import create_server

from api.app import create_app
from api.events import Streams
from workers.embedded import CannotStart, backend
from workers.settings import BadSetting, Settings, variable

RECEIVED_AT_ONCE = 262_144


@dataclass(frozen=True, slots=True)
class Running:
    """A service that runs: its address, and the settings in use."""

    url: str
    settings: Settings
    server: Any
    streams: Streams


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
    """Answer requests until SIGTERM or SIGINT comes."""

    def end(number: int, frame: FrameType | None) -> None:
        running.streams.closing.set()
        raise SystemExit(0)

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, end)
    running.server.run()


@contextmanager
def in_background(running: Running) -> Iterator[None]:
    """Answer requests in a thread for the time of the block."""
    thread = threading.Thread(target=running.server.run, name="web", daemon=True)
    thread.start()
    try:
        yield
    finally:
        running.streams.closing.set()
        running.server.task_dispatcher.shutdown()  # what is being answered is answered first
        running.server.close()
        thread.join(5)


def check_exposure(settings: Settings) -> None:
    """Raises BadSetting when the service would be open to the network without keys."""
    if not settings.keys and not is_loopback(settings.host):
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
    app: APIFlask = create_app(settings)
    try:
        server = create_server(
            app,
            host=settings.host,
            port=settings.port,
            threads=settings.web_threads,
            ident="crookline",
            # The application answers what is too large with a problem document; this is for much more.
            max_request_body_size=2 * settings.max_upload + 1_000_000,
            channel_request_lookahead=1,
            recv_bytes=RECEIVED_AT_ONCE,
            clear_untrusted_proxy_headers=True,
        )
    except OSError as error:
        if error.errno in (errno.EADDRINUSE, errno.EACCES, errno.EADDRNOTAVAIL):
            what = f"cannot listen on {settings.host} port {settings.port}: {error.strerror}"
            raise CannotStart(f"{what}; choose another with --port or {variable('port')}") from None
        raise
    shown = f"[{settings.host}]" if ":" in settings.host else settings.host
    port = server.effective_port
    try:
        yield Running(
            f"http://{shown}:{port}",
            replace(settings, port=port),
            server,
            app.extensions["crookline-streams"],
        )
    finally:
        server.close()
