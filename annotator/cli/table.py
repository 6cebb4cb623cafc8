"""Reports as a table on a terminal, or as plain lines in a pipe."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Any

import click

COLUMNS = ("file", "part", "crook", "read", "notes", "!", "!!", "!!!", "warnings")


def rows(report: dict[str, Any]) -> list[tuple[str, ...]]:
    """A row of ``COLUMNS`` for each part of a report."""
    found = []
    for part in report["parts"]:
        notes = [note for line in part["lines"] for note in line["notes"]]
        grades = [note["crossing"]["grade"] for note in notes if note["crossing"]]
        warnings = [each for each in report["warnings"] if each["part"] in (part["id"], None)]
        found.append(
            (
                report["source"]["name"],
                part["name"] or part["id"],
                " → ".join(dict.fromkeys(segment["crook"] for segment in part["segments"])),
                "; ".join(dict.fromkeys(segment["read"]["words"] for segment in part["segments"])),
                str(len(notes)),
                *(str(grades.count(grade)) for grade in (1, 2, 3)),
                str(len(warnings)),
            )
        )
    return found


def findings_table(reports: Sequence[dict[str, Any]]) -> None:
    """Print what was done and found. Nothing into a pipe but tab-separated rows, for other programs."""
    lines = [row for report in reports for row in rows(report)]
    if not lines:
        return
    if not sys.stdout.isatty():
        for row in (COLUMNS, *lines):
            click.echo("\t".join(row))
        return
    from rich import box  # noqa: PLC0415 - only a terminal needs it
    from rich.console import Console  # noqa: PLC0415
    from rich.table import Table  # noqa: PLC0415

    table = Table(box=box.SIMPLE_HEAD)
    for column in COLUMNS:
        number = column in ("notes", "!", "!!", "!!!", "warnings")
        table.add_column(column, justify="right" if number else "left", overflow="fold")
    for row in lines:
        table.add_row(*row)
    console = Console(highlight=False)
    console.print(table)
    for report in reports:
        for warning in report["warnings"]:
            where = f"part {warning['part']}" if warning["part"] else ""
            where += f", measure {warning['measure']}" if warning["measure"] else ""
            console.print(
                f"{report['source']['name']}: {where}: {warning['message']}".replace(": : ", ": "),
                markup=False,
            )
