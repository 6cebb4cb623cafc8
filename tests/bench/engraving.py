"""The first page of a long part, beside verovio's own time for it.

    python -m tests.bench.engraving

verovio lays out a whole file before it can draw any page of it, so its own time for one page is loading
the file and drawing that page, with the same sizes and spacing.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from pathlib import Path

import verovio

import annotator
from annotator.engraving.engraving import Engraving
from annotator.engraving.paper import A4
from annotator.engraving.roll import options
from annotator.score.source import open_source
from tests.bench.clockwork import Timing, in_turn, ratio
from tests.bench.scores import part_of, pitched

NOTES = 2_600


DEMO = next((Path(__file__).parents[2] / "demo_scores").glob("01_*"))
ROUNDS = 5


def own(text: str, *, whole: bool) -> object:
    """What verovio takes for the first page, or for all: the file loaded, the pages drawn."""
    toolkit = verovio.toolkit()
    toolkit.setOptions(options(A4) | {"breaks": "auto", "pageHeight": round(A4.height * 10)})
    toolkit.loadData(text)
    last = toolkit.getPageCount() if whole else 1
    return [toolkit.renderToSVG(number) for number in range(1, last + 1)]


def main() -> None:
    long, part = annotator.annotate(part_of(NOTES)), annotator.annotate(DEMO.read_bytes())
    engraved = Engraving(long.data, long.report)
    pages = engraved.page_count
    long_text, part_text = (open_source(each.data).text for each in (long, part))
    found = in_turn(
        {
            "verovio: load and draw page 1": lambda: own(long_text, whole=False),
            "ours: page 1": lambda: Engraving(long.data, long.report).page(1),
            "ours: page 2, loaded before": lambda: engraved.page(2),
        },
        rounds=3,
        clock=time.process_time,
    )
    print(f"\nEngraving ({pitched(part_of(NOTES))} notes, {pages} pages with cue staff)")
    _tell(found, "verovio: load and draw page 1", "ours: page 1", 1.3)
    found = in_turn(
        {
            "verovio: load and draw all": lambda: own(part_text, whole=True),
            "ours: all pages": lambda: _all(Engraving(part.data, part.report)),
            "ours: PDF": lambda: Engraving(part.data, part.report).pdf(),
        },
        rounds=ROUNDS,
        clock=time.process_time,
    )
    print(f"\nA part's PDF ({DEMO.stem})")
    _tell(found, "verovio: load and draw all", "ours: PDF", 1.5)


def _all(engraving: Engraving) -> list[str]:
    return [engraving.page(number) for number in range(1, engraving.page_count + 1)]


def _tell(found: Mapping[str, Timing], theirs: str, ours: str, goal: float) -> None:
    for name, timing in found.items():
        print(f"  {name:30} {timing}")
    print(f"  ours / verovio                 {ratio(found[ours], found[theirs]):.2f}  (goal: {goal} at most)")


if __name__ == "__main__":
    main()
