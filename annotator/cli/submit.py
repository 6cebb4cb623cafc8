"""``crookline submit``: send files to a service and fetch what comes of them."""

from __future__ import annotations

import io
import json
import sys
import zipfile
from pathlib import Path
from typing import Any

import click

from annotator.cli.choices import option_flags, said
from annotator.client import Client, JobState, ServiceError
from annotator.importing.opening import TAKEN
from annotator.registry.option_rows import Group
from annotator.whole_files import write_whole

SENT_SUFFIXES = (*TAKEN, ".zip")
PLAN = "plan.json"
"""Where the plan of a concert lies in the folder of the results."""


@click.command(epilog="Example: crookline submit parts/ -o marked/ --url http://127.0.0.1:8080")
@click.argument(
    "files", metavar="FILE|FOLDER...", nargs=-1, required=True, type=click.Path(exists=True, path_type=Path)
)
@click.option(
    "-o", "--out", required=True, type=click.Path(path_type=Path), help="The folder for the results."
)
@click.option(
    "--url",
    envvar="CROOKLINE_URL",
    default="http://127.0.0.1:8080",
    show_default=True,
    help="The service (or CROOKLINE_URL).",
)
@click.option(
    "--secret", envvar="CROOKLINE_SECRET", default="", help="The key's secret (or CROOKLINE_SECRET)."
)
@option_flags(*Group, served=True)
@click.option(
    "--players",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    metavar="FILE.json",
    help="Several players, one upload: a JSON list of objects with a name, the parts that are theirs, and "
    "options of their own; each gets a folder of the results.",
)
@click.option("--keep", is_flag=True, help="Leave the job on the service.")
def submit(
    *,
    files: tuple[Path, ...],
    out: Path,
    url: str,
    secret: str,
    keep: bool,
    players: Path | None,
    **choices: Any,
) -> None:
    """Send files to a running service, follow the work, and fetch the results.

    A folder is sent with all scores in it; the results are laid out the same way.
    With --plan, plan.json is the plan of the concert.
    """
    from annotator.cli.follow import follow  # noqa: PLC0415 - keeps --help quick

    options = said(choices)
    options["profile"] = _profile_text(options["profile"])
    fields = {"players": players.read_text(encoding="utf-8")} if players is not None else {}
    sent = [(name, path.read_bytes()) for name, path in collect(files)]
    if not sent:
        raise click.UsageError(f"no score in what was named ({', '.join(SENT_SUFFIXES)})")
    try:
        with Client(url, secret=secret) as client:
            job = follow(client, client.submit(sent, options, **fields))
            unpack(client.archive(job.id), out)
            unplanned = fetch_plan(client, job, out) if options.get("plan") else ""
            if not keep:
                client.delete(job.id)
    except ServiceError as error:
        raise click.ClickException(str(error)) from None
    if unplanned:
        click.echo(f"no plan: {unplanned}", err=True)
    failed = [part for part in job.parts if part.state == "failed"]
    for part in failed:
        click.echo(f"{part.name}: {part.reason}", err=True)
    for name, reason in job.skipped:
        click.echo(f"{name}: left out, {reason}", err=True)
    click.echo(f"{len(job.parts) - len(failed)} of {len(job.parts)} files are in {out}")
    if failed or unplanned:
        sys.exit(1)


def fetch_plan(client: Client, job: JobState, out: Path) -> str:
    """Write a job's plan beside its results; gives why there is none, or ""."""
    try:
        made = client.plan(job.id)
    except ServiceError as error:
        return str(error)
    write_whole(out / PLAN, json.dumps(made, indent=1, ensure_ascii=False).encode())
    return ""


def _profile_text(said: str) -> str:
    """The text of a TOML file, which the service takes; a profile's name as it is."""
    if not said.endswith(".toml"):
        return said
    try:
        return Path(said).read_text(encoding="utf-8").rstrip() + "\n"
    except (OSError, UnicodeDecodeError) as error:
        raise click.UsageError(f"{said} cannot be read as a text file ({error})") from None


def collect(paths: tuple[Path, ...]) -> list[tuple[str, Path]]:
    """The files to send, each with the name it gets: its own, or its path below the folder named."""
    found = []
    for path in paths:
        if path.is_dir():
            inside = sorted(file for file in path.rglob("*") if file.suffix.lower() in SENT_SUFFIXES)
            found += [(file.relative_to(path).as_posix(), file) for file in inside if file.is_file()]
        else:
            found.append((path.name, path))
    return found


def unpack(archive: bytes, out: Path) -> list[Path]:
    """Write an archive's files below a folder; what would lead out of it is refused by its name."""
    written = []
    with zipfile.ZipFile(io.BytesIO(archive)) as opened:
        for member in opened.infolist():
            target = out / member.filename
            if not target.resolve().is_relative_to(out.resolve()):
                raise click.ClickException(f"the archive has a file outside of its folder: {member.filename}")
            if not member.is_dir():
                write_whole(target, opened.read(member))
                written.append(target)
    return written
