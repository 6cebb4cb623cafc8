"""Flags per hundred notes on real and demo parts, each one printed with its neighbours to be read for sense.

    python -m tests.bench.flags [--quiet] [--instrument NAME] [FILE…]

Without files: the three Bach chorales with trumpets of music21's corpus, and demo_scores/.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from annotator import Options, annotate

SUFFIXES = (".musicxml", ".mxl", ".xml")
CORPUS = ("bwv69.6.xml", "bwv137.5.mxl", "bwv29.8.mxl")


def corpus() -> list[Path]:
    """The Bach files that music21 carries."""
    import music21

    folder = Path(music21.__file__).parent / "corpus" / "bach"
    return [folder / name for name in CORPUS]


def flagged(report: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Each flagged note of a report, with the part's name."""
    for part in report["parts"]:
        for line in part["lines"]:
            for note in line["notes"]:
                if note["crossing"]:
                    yield part["name"], note


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument("--instrument", default="c-trumpet")
    parser.add_argument("--profile", default="orchestral")
    parser.add_argument("--quiet", action="store_true")
    given = parser.parse_args()
    files = given.files or [
        *corpus(),
        *sorted(p for p in Path("demo_scores").iterdir() if p.suffix in SUFFIXES),
    ]
    for file in files:
        options = Options(instrument=given.instrument, profile=given.profile)
        report = annotate(file.read_bytes(), options, file.name).report
        count = report["summary"]["notes"]
        grades = report["summary"]["crossings"]
        every = [note for part in report["parts"] for line in part["lines"] for note in line["notes"]]
        departures = [note for note in every if note["why"] and note["fingering"]]
        flags = sum(grades.values())
        print(
            f"{file.name}: {count} notes, {flags} flags ({100 * flags / max(1, count):.1f} per hundred; "
            f"{grades['1']}, {grades['2']}, {grades['3']}), {len(departures)} off the chart; "
            f"{report['tempo']['words']}"
        )
        if given.quiet:
            continue
        for name, note in flagged(report):
            crossing = note["crossing"]
            instead = f"  [instead: {crossing['instead']}]" if crossing["instead"] else ""
            print(
                f"   {name} m. {note['measure']} beat {note['beat']}: "
                f"{crossing['grade']} {crossing['sentence']}{instead}"
            )
        for note in departures:
            print(f"   m. {note['measure']} beat {note['beat']} {note['reading']}: {note['why']}")


if __name__ == "__main__":
    main()
