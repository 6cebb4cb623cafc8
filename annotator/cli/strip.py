"""``crookline strip``: take the marks out again."""

from __future__ import annotations

from pathlib import Path

import click

from annotator.cli.choices import FILES, OUT
from annotator.cli.paths import destinations, each
from annotator.registry.mark_rows import MARK_NAMES
from annotator.whole_files import write_whole


@click.command(epilog="Example: crookline strip marked.musicxml -o tromba.musicxml --mark partial,intonation")
@FILES
@OUT
@click.option(
    "--mark", default="", metavar="LIST", help=f"Take out these only: {', '.join(MARK_NAMES)}; otherwise all."
)
@click.option(
    "--force", is_flag=True, help="Also what only looks like a mark: every fingering, lines of figures."
)
def strip(files: tuple[Path, ...], out: Path, mark: str, force: bool) -> None:
    """Take the marks out: the original file, byte for byte.

    In a file that a notation program has saved since, they are known by what
    it kept of them; fingerings that were changed there stay.
    """
    kinds = tuple(word.strip() for word in mark.split(",") if word.strip())

    def work(file: Path, target: Path) -> None:
        from annotator.annotation import stripped  # noqa: PLC0415 - keeps --help quick

        found = stripped(file.read_bytes(), kinds, force=force)
        write_whole(target, found.data)
        if found.unknown:
            click.echo(
                f"{file}: {found.unknown} fingerings stay, for nothing tells any more whether they were "
                "put in; to take every fingering out, add --force",
                err=True,
            )
        elif not found.counts:
            what = f" of the kind {', '.join(kinds)}" if kinds else ""
            more = "" if force else "; to take out what only looks like marks, add --force"
            click.echo(f"{file}: no marks{what} were recognised, so the file is as it was{more}", err=True)

    each(files, destinations(files, out), work)
