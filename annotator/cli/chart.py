"""``crookline chart``: the fingering chart of a trumpet."""

from __future__ import annotations

import json
from pathlib import Path

import click

from annotator.cli.choices import instrument_from, option_flag
from annotator.errors import CrooklineError
from annotator.whole_files import write_whole

SUFFIXES = (".txt", ".svg", ".pdf", ".json")


@click.command(epilog="Example: crookline chart --instrument bb-trumpet -o chart.pdf")
@option_flag("instrument")
@click.option("--from", "low", metavar="PITCH", default="", help="The lowest written note wanted: F#3.")
@click.option("--to", "high", metavar="PITCH", default="", help="The highest written note wanted: C6.")
@click.option("--cents", is_flag=True, help="With how many cents each note is off.")
@click.option("--json", "as_json", is_flag=True, help="Print the chart as JSON.")
@click.option("--paper", default="a4", show_default=True, help="Paper of a picture or PDF: a4, letter, part.")
@click.option(
    "-o",
    "--out",
    metavar="FILE",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write it to FILE: .txt, .svg, .pdf or .json.",
)
def chart(
    *, instrument: str, low: str, high: str, cents: bool, as_json: bool, paper: str, out: Path | None
) -> None:
    """Print or draw the fingering chart of a trumpet.

    Every note of the written range, or of a part of it, with its valves, partial and alternates.
    """
    from annotator.chart import chart as sheets  # noqa: PLC0415 - keeps --help quick
    from annotator.engraving.paper import paper as paper_called  # noqa: PLC0415

    try:
        trumpet = instrument_from(instrument)
        size = paper_called(paper)
        wish = sheets.Wish(low, high, cents)
        sheets.rows(trumpet, wish)
    except CrooklineError as error:
        raise click.UsageError(str(error)) from None
    suffix = out.suffix.lower() if out else ""
    if out is not None and suffix not in SUFFIXES:
        raise click.UsageError(f"{out.name}: the file's ending says what to write: {', '.join(SUFFIXES)}")
    if as_json and suffix not in ("", ".json"):
        raise click.UsageError(f"--json does not go with {out}")
    if as_json or suffix == ".json":
        content = json.dumps(sheets.document(trumpet, wish), indent=1, ensure_ascii=False) + "\n"
    elif suffix == ".svg":
        content = sheets.svg(trumpet, size, wish)
    else:
        content = sheets.text(trumpet, wish)
    if out is None:
        click.echo(content, nl=False)
    else:
        write_whole(out, sheets.pdf(trumpet, size, wish) if suffix == ".pdf" else content.encode())
