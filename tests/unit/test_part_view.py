"""What the page shows of a report: nothing lost, everything led to its page."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import annotator
from annotator.engraving.engraving import Engraving
from api.page.part_view import crooks, groups, page_of

DEMOS = sorted((Path(__file__).parents[2] / "demo_scores").glob("*.*xml"))


@pytest.mark.parametrize("path", DEMOS[:6], ids=[path.name[:2] for path in DEMOS[:6]])
def test_every_finding_is_shown_once_and_leads_to_a_page(path: Path) -> None:
    marked = annotator.annotate(path.read_bytes(), name=path.name)
    outline = Engraving(marked.data, marked.report).outline()
    shown = [found for group in groups(marked.report, outline) for found in group.found]
    notes = [note for part in marked.report["parts"] for line in part["lines"] for note in line["notes"]]
    flagged = [note["place"] for note in notes if note["crossing"]]
    assert sorted(found.place for found in shown if found.place is not None) == sorted(flagged)
    assert len(shown) == len(flagged) + len(marked.report["warnings"])
    for found in shown:
        if found.measure:
            assert found.page is not None
            assert found.measure in outline[found.page - 1]["measures"]
    segments = [segment for part in marked.report["parts"] for segment in part["segments"]]
    assert [row["read"] for row in crooks(marked.report)] == [one["read"]["words"] for one in segments]


def test_grades_are_kept_apart_and_the_grave_ones_open() -> None:
    def note(place: int, grade: int) -> dict[str, Any]:
        crossing = {"grade": grade, "reasons": ["finger exchange"], "sentence": f"s{place}", "instead": None}
        return {"measure": "1", "beat": 1, "place": place, "crossing": crossing}

    notes = [note(place, 1) for place in range(20)] + [note(20, 3), note(21, 2)]
    report = {
        "parts": [{"id": "P1", "lines": [{"notes": notes}]}],
        "warnings": [{"code": "out-of-range", "part": "P1", "measure": "7", "message": "too high"}],
    }
    made = groups(report, [{"part": "P1", "from": 0, "measures": ["1"]}])
    assert [(group.id, len(group.found), group.open) for group in made] == [
        ("range", 1, True),
        ("hard", 1, True),
        ("medium", 1, True),
        ("mild", 20, False),
    ]
    assert made[0].found[0].page is None
    assert made[1].found[0].page == 1


def test_parts_of_one_score_are_told_apart() -> None:
    outline = [
        {"part": "P1", "from": 0, "measures": ["1", "2"]},
        {"part": "P2", "from": 0, "measures": ["1", "2"]},
    ]
    assert page_of(outline, "P2", "2") == 2
    assert page_of(outline, "", "2") == 1
    assert page_of(outline, "P2", "3") is None
