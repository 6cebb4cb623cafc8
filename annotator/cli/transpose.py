"""``crookline transpose``: write the part out for the trumpet in hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from annotator.cli.choices import FILES, OUT, options_from, reading_options
from annotator.cli.paths import destinations, each, read_score
from annotator.whole_files import write_whole


@click.command(epilog="Example: crookline transpose tromba-in-e.musicxml -o in-c.musicxml")
@FILES
@OUT
@reading_options
@click.option(
    "--mark", default="", metavar="LIST", help="Marks to add: fingering, partial, crossing, intonation."
)
def transpose(files: tuple[Path, ...], out: Path, **choices: Any) -> None:
    """Write out the whole part as read on the trumpet in hand."""
    options = options_from(**choices)

    def work(file: Path, target: Path) -> None:
        from annotator.transposed import transposed_part  # noqa: PLC0415 - keeps --help quick

        data, _ = read_score(file)
        write_whole(target, transposed_part(data, options, file.name))

    each(files, destinations(files, out), work)
