"""The engraver's child process: the same sheets, and a service that outlives it."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import annotator
from annotator.engraving.engraving import Engraving
from annotator.engraving.paper import paper, size
from annotator.errors import BadOption, UnreadableScore
from workers.engraver import Engraver, EngravingFailed, Sheets

DEMO = next((Path(__file__).parents[2] / "demo_scores").glob("11_*"))


@pytest.fixture(scope="module")
def sheets() -> Sheets:
    marked = annotator.annotate(DEMO.read_bytes(), name=DEMO.name)
    return Sheets("a part", marked.data, marked.report, paper("a4"))


@pytest.fixture
def engraver() -> Iterator[Engraver]:
    one = Engraver()
    yield one
    one.close()


def test_the_child_draws_what_the_library_draws(engraver: Engraver, sheets: Sheets) -> None:
    here = Engraving(sheets.data, sheets.report)
    assert engraver.outline(sheets) == here.outline()
    assert engraver.page(sheets, 1) == here.page(1)
    assert engraver.pdf(sheets).startswith(b"%PDF-")


def test_errors_come_through_as_they_are(engraver: Engraver, sheets: Sheets) -> None:
    with pytest.raises(BadOption, match="no page 99") as caught:
        engraver.page(sheets, 99)
    assert caught.value.field == "page"
    with pytest.raises(UnreadableScore):
        engraver.page(Sheets("b", b"<nothing/>", {}, paper("a4")), 1)


def test_a_child_that_has_broken_is_replaced(engraver: Engraver, sheets: Sheets) -> None:
    engraver.outline(sheets)
    child = next(iter(engraver.pages.pool._processes.values()))  # type: ignore[union-attr]
    assert child.pid is not None
    os.kill(child.pid, signal.SIGKILL)
    child.join(10)
    # What broke before this was asked is not its fault: it gets a new child.
    assert engraver.outline(sheets)


def test_work_that_takes_too_long_is_given_up(sheets: Sheets) -> None:
    engraver = Engraver(seconds=0.001)
    try:
        with pytest.raises(EngravingFailed, match="given up after"):
            engraver.pdf(sheets)
        assert engraver.documents.pool is None
    finally:
        engraver.close()


def test_size_player_and_line_are_handed_on(engraver: Engraver, sheets: Sheets) -> None:
    named = replace(sheets, size=size("large"), player="Tobit Quennell")
    here = Engraving(named.data, named.report, size=size("large"), player="Tobit Quennell")
    assert engraver.page(named, 1) == here.page(1)
    assert "Tobit Quennell" in engraver.page(named, 1)
    assert engraver.page(sheets, 1) != here.page(1)
    with pytest.raises(BadOption, match="no line 9"):
        engraver.page(replace(sheets, line=9), 1)
