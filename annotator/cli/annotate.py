"""``crookline annotate``: mark files."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from annotator.cli.choices import FILES, OUT, option_flags, options_from
from annotator.cli.paths import destinations, each, read_score
from annotator.cli.table import findings_table
from annotator.registry.option_rows import OF_A_FILE
from annotator.whole_files import write_whole


@click.command(
    epilog="Example: crookline annotate tromba.musicxml -o marked.musicxml --instrument bb-trumpet"
)
@FILES
@OUT
@option_flags(*OF_A_FILE)
@click.option(
    "--report",
    "report_path",
    metavar="FILE.json",
    type=click.Path(path_type=Path),
    help="Write the report here (a folder for several files).",
)
@click.option("--json", "as_json", is_flag=True, help="Print the reports as JSON lines instead of a table.")
@click.option("-q", "--quiet", is_flag=True, help="Print nothing but failures.")
def annotate(
    files: tuple[Path, ...],
    out: Path,
    report_path: Path | None,
    as_json: bool,
    quiet: bool,
    **choices: Any,
) -> None:
    """Mark trumpet parts: fingering, partial, awkward crossings, cue line.

    The files written differ from yours by insertions only; `crookline strip`
    takes them out again.
    """
    options = options_from(**choices)
    targets = destinations(files, out)
    reports = destinations(files, report_path, ".json", (".json",)) if report_path else [None] * len(files)
    where = dict(zip(files, reports, strict=True))

    def work(file: Path, target: Path) -> dict[str, Any]:
        from annotator.annotation import annotate as mark  # noqa: PLC0415 - keeps --help quick

        data, findings = read_score(file)
        marked = mark(data, options, file.name)
        marked.report["warnings"] = findings + marked.report["warnings"]
        write_whole(target, marked.data)
        place = where[file]
        if place is not None:
            write_whole(place, json.dumps(marked.report, indent=1, ensure_ascii=False).encode())
        return marked.report

    done = each(files, targets, work)
    if as_json:
        for report in done:
            click.echo(json.dumps(report, ensure_ascii=False))
    elif not quiet:
        findings_table(done)
