"""Reports as a table on a terminal, or as plain lines in a pipe."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import Any

import click

COLUMNS = ("file", "part", "crook", "read", "notes", "!", "!!", "!!!", "findings")
WORST = 5
"""So many of a file's awkward crossings are told on the terminal; the report has all."""
_NARROW = 80
"""Characters: the width every terminal has."""


def rows(report: dict[str, Any]) -> list[tuple[str, ...]]:
    """A row of ``COLUMNS`` for each part of a report."""
    found = []
    for part in report["parts"]:
        # A note for two players stands in two lines.
        in_lines = {note["place"]: note for line in reversed(part["lines"]) for note in line["notes"]}
        notes = list(in_lines.values())
        grades = [note["crossing"]["grade"] for note in notes if note["crossing"]]
        findings = [each for each in report["warnings"] if each["part"] in (part["id"], None)]
        found.append(
            (
                report["source"]["name"],
                part["name"] or part["id"],
                _crooks(part["segments"]),
                "; ".join(dict.fromkeys(segment["read"]["words"] for segment in part["segments"])),
                str(len(notes)),
                *(str(grades.count(grade)) for grade in (1, 2, 3)),
                str(len(findings)),
            )
        )
    return found


def _crooks(segments: Sequence[Mapping[str, Any]]) -> str:
    """ "F → C", or for players who change apart "F → E | F"."""
    lines: dict[tuple[int, ...], list[str]] = {}
    for segment in segments:
        lines.setdefault(tuple(segment.get("lines", ())), []).append(segment["crook"])
    return " | ".join(" → ".join(dict.fromkeys(crooks)) for crooks in lines.values())


def findings_table(reports: Sequence[dict[str, Any]], seconds: Mapping[str, float] | None = None) -> None:
    """Print what was done and what was found; ``seconds`` adds a column, by file name.

    Into a pipe go tab-separated rows of ``COLUMNS``, for other programs.
    """
    if not any(report["parts"] for report in reports):
        return
    if not sys.stdout.isatty() and seconds is None:
        for row in (COLUMNS, *(row for report in reports for row in rows(report))):
            click.echo("\t".join(row))
        return
    from rich.console import Console  # noqa: PLC0415 - only a terminal needs it

    console = Console(highlight=False, width=None if sys.stdout.isatty() else _NARROW)
    console.print(_table(reports, seconds))
    for report in reports:
        for line in crossing_lines(report):
            console.print(line, markup=False)
        for finding in report["warnings"]:
            console.print(finding_line(report["source"]["name"], finding), markup=False)


def crossing_lines(report: dict[str, Any]) -> list[str]:
    """The ``WORST`` awkward crossings of a report as lines: file, measures, strokes, the sentence."""
    crossings: dict[str, dict[str, Any]] = {}
    places: dict[str, list[str]] = {}
    for part in report["parts"]:
        for line in part["lines"]:
            for note in line["notes"]:
                crossing = note["crossing"]
                if crossing:
                    crossings[crossing["sentence"]] = crossing
                    places.setdefault(crossing["sentence"], []).append(note["measure"])
    name = report["source"]["name"]
    worst = sorted(crossings.values(), key=lambda each: -each["cost"])
    lines = []
    for each in worst[:WORST]:
        measures = list(dict.fromkeys(places[each["sentence"]]))
        word = "measure" if len(measures) == 1 else "measures"
        lines.append(f"{name}: {word} {', '.join(measures)}: {'!' * each['grade']} {each['sentence']}")
    if len(worst) > WORST:
        lines.append(f"{name}: {len(worst) - WORST} more of other kinds; the report has all")
    return lines


def finding_line(name: str, finding: dict[str, Any]) -> str:
    """A finding as one line: file, part, measure, message."""
    where = [f"{what} {finding[what]}" for what in ("part", "measure") if finding[what]]
    return ": ".join(filter(None, (name, ", ".join(where), finding["message"])))


def _table(reports: Sequence[dict[str, Any]], seconds: Mapping[str, float] | None) -> Any:
    """One line for each part, whatever the width: names are cut, numbers are not."""
    from rich import box  # noqa: PLC0415 - only a terminal needs it
    from rich.table import Table  # noqa: PLC0415
    from rich.text import Text  # noqa: PLC0415

    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), expand=True)
    table.add_column("file", no_wrap=True, overflow="ellipsis", ratio=5)
    table.add_column("part", no_wrap=True, overflow="ellipsis", ratio=4)
    table.add_column("crook: read", no_wrap=True, overflow="ellipsis", ratio=5)
    table.add_column("notes", justify="right", no_wrap=True)
    table.add_column("! !! !!!", justify="right", no_wrap=True)
    table.add_column("?", justify="right", no_wrap=True)
    if seconds is not None:
        table.add_column("s", justify="right", no_wrap=True)
    for report in reports:
        for number, row in enumerate(rows(report)):
            name, part, crook, read, notes, one, two, three, findings = row
            cells = [name, part, f"{crook}: {read}", notes, f"{one}  {two}   {three}", findings]
            if seconds is not None:
                cells.append("" if number else f"{seconds[name]:.2f}")
            table.add_row(*map(Text, cells))
    table.caption = "awkward crossings: ! mild, !! medium, !!! hard; ? findings, below"
    table.caption_justify = "left"
    return table
