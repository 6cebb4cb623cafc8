"""The commands ``serve`` and ``key``."""

from __future__ import annotations

import secrets
import signal
import sys
from dataclasses import replace
from datetime import datetime
from hashlib import sha256
from types import FrameType
from typing import Any

import click

from annotator.errors import CrooklineError


@click.command(epilog="Example: crookline serve --port 8081 --store /srv/scores")
@click.option("--host", metavar="ADDRESS", help="Where to listen (default: CROOKLINE_HOST or 127.0.0.1).")
@click.option(
    "--port", type=click.IntRange(0, 65535), help="Default: CROOKLINE_PORT or 8080; 0 takes a free one."
)
@click.option(
    "--store", metavar="PATH|URL", help="Where jobs are kept (default: CROOKLINE_STORE or ./store)."
)
@click.option(
    "--workers", type=click.IntRange(min=1), help="Parts worked on at once (default: one per processor)."
)
@click.option("--no-workers", is_flag=True, help="The web server alone; needs CROOKLINE_REDIS_URL.")
def serve(
    host: str | None, port: int | None, store: str | None, workers: int | None, no_workers: bool
) -> None:
    """Run the service: web server, queue and workers, in one command.

    All settings can be given as CROOKLINE_… variables. Without CROOKLINE_REDIS_URL a server of its own
    is started for the queue; without CROOKLINE_KEYS it listens on this machine only.
    """
    from api.server import run, service  # noqa: PLC0415 - Flask and Celery are loaded for this command only
    from workers import logs  # noqa: PLC0415
    from workers.settings import Settings  # noqa: PLC0415

    def leave(number: int, frame: FrameType | None) -> None:
        raise SystemExit(0)

    given: dict[str, Any] = {"host": host, "port": port, "store": store, "workers": workers}
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, leave)
    try:
        settings = replace(
            Settings.from_environment(), **{name: value for name, value in given.items() if value is not None}
        )
        logs.configure(settings.log)
        with service(settings, workers=not no_workers) as running:
            click.echo(f"Crookline listens on {running.url}/ and keeps jobs in {running.settings.store}")
            if not running.settings.keys:
                click.echo("No keys are set: only this machine can reach it.")
            sys.stdout.flush()
            run(running)
    except CrooklineError as error:
        click.echo(f"crookline serve: {error}", err=True)
        sys.exit(2)


@click.command(epilog="Example: crookline key library")
@click.argument("name")
@click.option(
    "--until", metavar="DATE", type=click.DateTime(["%Y-%m-%d"]), help="The last day on which it opens."
)
def key(name: str, until: datetime | None) -> None:
    """Make a key for the service, for NAME or NAME/LABEL (one of several secrets of NAME).

    Prints the secret, which is shown this once, and the entry for CROOKLINE_KEYS, which cannot be
    turned back into it.
    """
    from workers.keys import Key, valid_owner  # noqa: PLC0415

    owner, slash, label = name.partition("/")
    if not valid_owner(owner) or (slash and not valid_owner(label)):
        raise click.UsageError("a key's name has 1 to 40 letters, digits, '-' or '_'")
    secret = secrets.token_urlsafe(32)
    click.echo(f"Secret for {name} (send it as `Authorization: Bearer …`; it is shown this once):\n")
    click.echo(f"  {secret}\n")
    made = Key(owner, sha256(secret.encode()).hexdigest(), label, until.date() if until else None)
    click.echo("Entry for CROOKLINE_KEYS (several are separated by commas; or a file, @PATH, one a line;")
    click.echo("a service reads the file anew when it changes):\n")
    click.echo(f"  {made.entry}")
