"""The first page of a long part, beside verovio's own time for it.

    python -m tests.bench.engraving

verovio lays out a whole file before it can draw any page of it, so its own time for one page is loading
the file and drawing that page, with the same sizes and spacing.
"""

from __future__ import annotations

import time

import verovio

import annotator
from annotator.engraving.engraving import Engraving
from annotator.engraving.paper import A4
from annotator.engraving.roll import options
from annotator.score.source import open_source
from tests.bench.clockwork import in_turn, ratio
from tests.bench.scores import part_of, pitched

NOTES = 2_600


def main() -> None:
    marked = annotator.annotate(part_of(NOTES))
    engraved = Engraving(marked.data, marked.report)
    pages = engraved.page_count
    text = open_source(marked.data).text

    def own() -> object:
        toolkit = verovio.toolkit()
        same = options(A4) | {"breaks": "auto", "pageHeight": round(A4.height * 10)}
        toolkit.setOptions(same)
        toolkit.loadData(text)
        return toolkit.renderToSVG(1)

    found = in_turn(
        {
            "verovio: load and draw page 1": own,
            "ours: page 1": lambda: Engraving(marked.data, marked.report).page(1),
            "ours: page 2, loaded before": lambda: engraved.page(2),
        },
        rounds=3,
        clock=time.process_time,
    )
    print(f"\nEngraving ({pitched(part_of(NOTES))} notes, {pages} pages with cue staff)")
    for name, timing in found.items():
        print(f"  {name:30} {timing}")
    times = ratio(found["ours: page 1"], found["verovio: load and draw page 1"])
    print(f"  ours / verovio                 {times:.2f}  (goal: under 2)")


if __name__ == "__main__":
    main()
