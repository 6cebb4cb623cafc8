"""Fingerings that are printed already, in any spelling, are understood as what they mean."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

import annotator
from annotator.score.printed import valves_of
from tests.unit.parts import NoteText, part_xml


def printed(*fingerings: str) -> str:
    """A note's notations with these ``<fingering>`` elements."""
    elements = "".join(
        each if each.startswith("<") else f"<fingering>{each}</fingering>" for each in fingerings
    )
    return f"<notations><technical>{''.join(elements)}</technical></notations>"


def report_of(notations: str, pitch: tuple[str, int, int] = ("A", 0, 4)) -> dict[str, list[str]]:
    """What the report says is printed, and the findings about it, for a lone note (A4 is 1-2, G4 open)."""
    report = annotator.annotate(part_xml([NoteText(*pitch, extra=notations)])).report
    note = report["parts"][0]["lines"][0]["notes"][0]
    said = [each["message"] for each in report["warnings"] if each["code"] == "printed-fingering"]
    return {"printed": note["printed"], "said": said}


@pytest.mark.parametrize(
    "fingerings",
    [
        ("1-2",),
        ("12",),
        ("1+2",),
        ("1 2",),
        ("2-1",),
        ("1/2",),
        ("1–2",),
        ("1", "2"),
        ("2", "1"),
        (" 1 - 2 ",),
    ],
)
def test_first_and_second_valve_however_written(fingerings: tuple[str, ...]) -> None:
    assert report_of(printed(*fingerings)) == {"printed": ["1-2"], "said": []}


@pytest.mark.parametrize("text", ["0", "o", "O", "open", "Open", "offen"])
def test_an_open_note_however_written(text: str) -> None:
    assert report_of(printed(text), ("G", 0, 4)) == {"printed": ["0"], "said": []}


def test_one_that_differs_is_told_by_what_it_means() -> None:
    found = report_of(printed("1", "3"))
    assert found["printed"] == ["1-3"]
    assert "is printed as 1-3, and would be 1-2" in found["said"][0]


def test_a_choice_of_two_is_not_one_of_both() -> None:
    other = '<fingering alternate="yes">2</fingering>'
    assert report_of(printed("1", other))["printed"] == ["1", "2"]
    assert report_of(printed("3", "1-2")) == {"printed": ["3", "1-2"], "said": []}
    assert report_of(printed("0", "1", "3"), ("G", 0, 4)) == {"printed": ["0", "1-3"], "said": []}


@pytest.mark.parametrize("text", ["", "p", "5", "11", "T", "1-1", "12a", "10", "slide", "1-2-3-4-5"])
def test_what_no_valves_have_stays_as_it_stands(text: str) -> None:
    assert valves_of(text) == text


@given(
    st.sets(st.sampled_from("1234"), min_size=1),
    st.sampled_from(("", "-", "+", " ", ", ", "/", " – ")),
    st.randoms(),
)
def test_any_combination_in_any_order_with_anything_between(
    valves: set[str], between: str, random: object
) -> None:
    order = list(valves)
    random.shuffle(order)  # type: ignore[attr-defined]
    assert valves_of(between.join(order)) == "-".join(sorted(valves))


def test_the_report_names_the_programs_that_wrote_the_file() -> None:
    encoding = (
        "<identification><encoding><software>Scorewriter 3.2</software>"
        "<encoding-date>2026-01-02</encoding-date>"
        "<software>Exporter for\n Scorewriter</software><software/><software>Scorewriter 3.2</software>"
        "</encoding></identification><part-list>"
    )
    xml = part_xml([NoteText("G", 0, 4)]).replace(b"<part-list>", encoding.encode())
    source = annotator.annotate(xml).report["source"]
    assert source["software"] == ["Scorewriter 3.2", "Exporter for Scorewriter"]
    assert annotator.annotate(part_xml([NoteText("G", 0, 4)])).report["source"]["software"] == []
