"""``crookline demo``: the whole way of some parts through the service, over HTTP, on this machine."""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import click

from annotator.cli.table import findings_table
from annotator.errors import CrooklineError


@click.command(epilog="Example: crookline demo --instrument bb-trumpet -o marked")
@click.option(
    "--scores",
    default="demo_scores",
    show_default=True,
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="The folder with the parts to send.",
)
@click.option(
    "-o",
    "--out",
    default="demo_output",
    show_default=True,
    type=click.Path(file_okay=False, path_type=Path),
    help="The folder for what comes back.",
)
@click.option("--instrument", default="c-trumpet", show_default=True, help="The trumpet in hand.")
def demo(scores: Path, out: Path, instrument: str) -> None:
    """Start the service, send it a folder of parts, show the work, fetch the results, stop the service.

    Exit status 0 when every part was marked, 1 when some were not.
    """
    from annotator.cli.submit import collect  # noqa: PLC0415 - keeps --help quick

    files = [(name, path.read_bytes()) for name, path in collect((scores,))]
    if not files:
        raise click.UsageError(f"there is no score in {scores}")
    try:
        failed = _run(files, out, instrument)
    except CrooklineError as error:
        click.echo(f"crookline demo: {error}", err=True)
        sys.exit(1)
    sys.exit(1 if failed else 0)


def _run(files: list[tuple[str, bytes]], out: Path, instrument: str) -> int:
    from annotator.cli.follow import follow  # noqa: PLC0415
    from annotator.cli.submit import unpack  # noqa: PLC0415
    from annotator.client import Client  # noqa: PLC0415
    from annotator.whole_files import write_whole  # noqa: PLC0415 - all of this is loaded for this command only
    from api.server import in_background, service  # noqa: PLC0415
    from workers import logs  # noqa: PLC0415
    from workers.settings import Settings  # noqa: PLC0415

    settings = replace(
        Settings.from_environment(), host="127.0.0.1", port=0, keys=(), keys_file="", log="quiet"
    )
    logs.configure(settings.log)
    with tempfile.TemporaryDirectory(prefix="crookline-demo-") as store:
        click.echo("Starting the service: queue, workers, web server …")
        with service(replace(settings, store=store)) as running, in_background(running):
            click.echo(f"It listens on {running.url}/. Sending {len(files)} files over HTTP.")
            began = time.monotonic()
            with Client(running.url) as client:
                job = follow(client, client.submit(files, {"instrument": instrument}))
                seconds = time.monotonic() - began
                archive = client.archive(job.id)
                write_whole(out / "archive.zip", archive)
                unpack(archive, out)
                reports = [client.report(job.id, part.n) for part in job.parts if part.state == "done"]
            click.echo(f"All {len(job.parts)} parts have ended after {seconds:.2f} s. Stopping the service.")
    findings_table(reports, {part.name: part.seconds for part in job.parts})
    failed = [part for part in job.parts if part.state == "failed"]
    for part in failed:
        click.echo(f"failed: {part.name}: {part.reason}", err=True)
    click.echo(f"The marked files, a report beside each, and archive.zip are in {out}/")
    return len(failed)
