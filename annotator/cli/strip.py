"""``crookline strip``: take the marks out again."""

from __future__ import annotations

from pathlib import Path

import click

from annotator.cli.choices import FILES, OUT
from annotator.cli.paths import destinations, each
from annotator.whole_files import write_whole


@click.command(epilog="Example: crookline strip marked.musicxml -o tromba.musicxml")
@FILES
@OUT
def strip(files: tuple[Path, ...], out: Path) -> None:
    """Take the marks out: the original file, byte for byte."""

    def work(file: Path, target: Path) -> None:
        from annotator.annotation import strip as unmark  # noqa: PLC0415 - keeps --help quick

        write_whole(target, unmark(file.read_bytes()))

    each(files, destinations(files, out), work)
