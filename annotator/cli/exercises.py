"""``crookline exercises``: practice made from a part's own awkward crossings."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from annotator.cli.choices import FILES, OUT, option_flags, options_from
from annotator.cli.paths import destinations, each, read_score
from annotator.registry.option_rows import Group
from annotator.whole_files import write_whole


@click.command(epilog="Example: crookline exercises tromba-in-e.musicxml -o exercises.musicxml")
@FILES
@OUT
@option_flags(Group.READING, Group.HANDS)
def exercises(files: tuple[Path, ...], out: Path, **choices: Any) -> None:
    """Write exercises from the worst crossings of a part.

    Each crossing as read on the trumpet in hand: slowly, in rhythms, then in its
    measures up to tempo, with rests as long as what is played. A part with nothing
    to practise fails with a message that says so.
    """
    options = options_from(**choices)

    if out.suffix.lower() == ".mxl":
        raise click.UsageError(f"{out}: exercises are written uncompressed, as .musicxml")

    def work(file: Path, target: Path) -> None:
        from annotator.exercises.exercises import exercises as sheet  # noqa: PLC0415 - keeps --help quick

        data, _ = read_score(file)
        write_whole(target, sheet(data, options, file.stem))

    each(files, destinations(files, out, ".musicxml"), work)
