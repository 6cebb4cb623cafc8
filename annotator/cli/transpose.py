"""``crookline transpose``: write the part out for the trumpet in hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from annotator.cli.choices import FILES, OUT, option_flags, options_from
from annotator.cli.paths import destinations, each, read_score
from annotator.cli.table import finding_line
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
        from annotator.transposed import write_out  # noqa: PLC0415 - keeps --help quick

        data, lost = read_score(file)
        made = write_out(data, options, file.name)
        write_whole(target, made.data)
        # What the reader was unsure of is in the notes now, so it is said.
        for finding in (*lost, *(noticed.document() for noticed in made.findings)):
            click.echo(finding_line(file.name, finding), err=True)

    each(files, destinations(files, out), work)
