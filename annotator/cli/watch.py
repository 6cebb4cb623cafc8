"""``crookline watch``: a folder whose scores are marked as they come in."""

from __future__ import annotations

import signal
import sys
import threading
from pathlib import Path
from types import FrameType
from typing import Any

import click

from annotator.cli.choices import option_flags, options_from
from annotator.registry.option_rows import OF_A_FILE


@click.command(epilog="Example: crookline watch incoming/ marked/ --instrument bb-trumpet")
@click.argument("source", metavar="IN", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.argument("target", metavar="OUT", type=click.Path(file_okay=False, path_type=Path))
@option_flags(*OF_A_FILE)
@click.option(
    "--settle", type=float, default=1.0, show_default=True, help="Seconds a file must not change to be taken."
)
@click.option("--once", is_flag=True, help="Deal with what is there, then stop.")
def watch(source: Path, target: Path, settle: float, once: bool, **choices: Any) -> None:
    """Mark every score that is put into IN, into OUT under the same name.

    A bad one gets a note NAME.failed that says why. Finished work is not done
    again, also after a restart. Stop with Ctrl-C.
    """
    from annotator.hotfolder import HotFolder  # noqa: PLC0415 - keeps --help quick

    if source.resolve() == target.resolve():
        raise click.UsageError("IN and OUT must be two folders")
    stopping = threading.Event()

    def stop(number: int, frame: FrameType | None) -> None:
        stopping.set()

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, stop)
    folder = HotFolder(source, target, options_from(**choices), settle)
    failed = False
    click.echo(f"Watching {source}; results go to {target}. Stop with Ctrl-C.")
    while not stopping.is_set():
        for done in folder.look(stopping.is_set):
            failed = failed or bool(done.reason)
            click.echo(f"failed {done.name}: {done.reason}" if done.reason else f"marked {done.name}")
            sys.stdout.flush()
        if once and not folder.waiting:
            break
        stopping.wait(min(0.5, max(0.02, settle / 4)))
    if once and failed:
        sys.exit(1)
