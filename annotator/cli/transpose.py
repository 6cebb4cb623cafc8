"""``crookline transpose``: write the part out for the trumpet in hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from annotator.cli.choices import FILES, OUT, option_flags, options_from
from annotator.cli.paths import destinations, each, read_score
from annotator.registry.option_rows import Group
from annotator.whole_files import write_whole


@click.command(epilog="Example: crookline transpose tromba-in-e.musicxml -o in-c.musicxml")
@FILES
@OUT
@option_flags(Group.READING, Group.MARKS, Group.HANDS, no_marks=True)
def transpose(files: tuple[Path, ...], out: Path, **choices: Any) -> None:
    """Write out the whole part as read on the trumpet in hand."""
    options = options_from(**choices)

    def work(file: Path, target: Path) -> None:
        from annotator.transposed import transposed_part  # noqa: PLC0415 - keeps --help quick

        data, _ = read_score(file)
        write_whole(target, transposed_part(data, options, file.name))

    each(files, destinations(files, out), work)
