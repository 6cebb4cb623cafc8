"""The fingering chart in its four forms: all of them say the same."""

from __future__ import annotations

import json
import re
from io import BytesIO

import pypdf
import pytest
from lxml import etree

from annotator.chart import chart
from annotator.errors import BadOption
from annotator.instruments import available, from_toml, load
from annotator.pitch import Pitch, transpose

SVG = "{http://www.w3.org/2000/svg}"
ONE_VALVE = """
name = "Signal trumpet with one valve"
key = "C"
transposition = {diatonic = 0, chromatic = 0}
valves = {semitones = [2]}
partials = {usable = [2, 3, 4, 5, 6, 8]}
range = {low = "Bb3", high = "C6"}
"""


@pytest.mark.parametrize("name", available())
def test_rows_walk_the_written_range_by_semitones(name: str) -> None:
    instrument = load(name)
    rows = chart.rows(instrument)
    semitones = [Pitch.parse(row["written"]).semitone for row in rows]
    assert semitones == list(range(instrument.low.semitone, instrument.high.semitone + 1))
    for row in rows:
        assert Pitch.parse(row["sounding"]) == transpose(
            Pitch.parse(row["written"]), instrument.transposition
        )
        assert row["fingering"] is not None


def test_cents_are_those_of_the_harmonic_series_and_of_added_lengths() -> None:
    """Computed by hand: partials deviate by 1200·log2(n), lengths add up; the third valve is cut long."""
    cents = {row["written"]: row["cents"] for row in chart.rows(load("c-trumpet"))}
    expected = {"D4": 18, "C#4": 41, "E5": -14, "D5": -14, "A4": 11, "C5": 0, "G4": 2, "F#3": 39}
    assert {name: round(cents[name]) for name in expected} == expected


@pytest.mark.parametrize("name", available())
def test_the_picture_presses_the_valves_of_the_rows(name: str) -> None:
    instrument = load(name)
    picture = etree.fromstring(chart.svg(instrument).encode())
    drawn = []
    for group in picture.iter(f"{SVG}g"):
        if group.get("class") == "valves":
            caps = list(group.iter(f"{SVG}rect"))
            assert len(caps) == instrument.valve_count
            pressed = [str(n) for n, cap in enumerate(caps, start=1) if cap.get("fill") == "currentColor"]
            drawn.append("-".join(pressed) or "0")
    assert drawn == [row["fingering"] for row in chart.rows(instrument)]


def test_sharp_goes_up_and_flat_goes_down() -> None:
    picture = etree.fromstring(chart.svg(load("c-trumpet"), wish=chart.Wish(cents=True)).encode())
    cells = [group for group in picture.iter(f"{SVG}g") if group.get("class") == "cell"]
    for cell, row in zip(cells, chart.rows(load("c-trumpet")), strict=True):
        bars = [child for child in cell if child.tag == f"{SVG}rect"]
        assert len(bars) == (1 if round(row["cents"]) else 0)
        if bars:
            hollow = bars[0].get("fill") == "none"
            assert hollow == (row["cents"] < 0)


def test_a_users_own_instrument_has_a_chart() -> None:
    """One valve and no more: some notes are out of reach, and the chart says which."""
    instrument = from_toml(ONE_VALVE)
    rows = {row["written"]: row for row in chart.rows(instrument)}
    assert rows["Bb3"]["fingering"] == "1"
    assert rows["C#4"]["fingering"] is None
    assert "out of reach" in chart.text(instrument)
    assert "out of reach" in chart.svg(instrument)
    assert len(pypdf.PdfReader(BytesIO(chart.pdf(instrument))).pages) == 1


@pytest.mark.parametrize("name", available())
def test_text_fits_a_terminal(name: str) -> None:
    text = chart.text(load(name))
    assert max(map(len, text.splitlines())) < 80
    assert text.endswith("\n")
    assert len(text.splitlines()) == len(chart.rows(load(name))) + 5


@pytest.mark.parametrize("name", ["c-trumpet", "bb-piccolo", "bb-flugelhorn"])
def test_print_has_every_note_and_its_fonts(name: str) -> None:
    reader = pypdf.PdfReader(BytesIO(chart.pdf(load(name))))
    text = "".join(page.extract_text() for page in reader.pages)
    assert len(re.findall(r"partial \d", text)) == len(chart.rows(load(name)))
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():  # type: ignore[index]
            descriptor = font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"]
            assert any(f"/FontFile{kind}" in descriptor for kind in ("", "2", "3"))


def test_the_document_is_json() -> None:
    document = json.loads(json.dumps(chart.document(load("a-piccolo"))))
    assert document["schema"] == "crookline.chart/1"
    assert document["valves"] == 4
    assert document["rows"][0]["written"] == load("a-piccolo").low.name


@pytest.mark.parametrize("name", available())
def test_a_black_key_has_both_its_names_and_both_notes(name: str) -> None:
    instrument = load(name)
    rows = chart.rows(instrument)
    for row in rows:
        written = Pitch.parse(row["written"])
        assert (row["also_written"] is None) == (written.alter == 0)
        if row["also_written"]:
            other = Pitch.parse(row["also_written"])
            assert other.semitone == written.semitone
            assert {written.alter, other.alter} == {1, -1}
    picture = etree.fromstring(chart.svg(instrument).encode())
    cells = [group for group in picture.iter(f"{SVG}g") if group.get("class") == "cell"]
    for cell, row in zip(cells, rows, strict=True):
        text = "".join(map(str, cell.itertext()))
        for spelling in filter(None, (row["written"], row["also_written"])):
            assert spelling.replace("#", "♯").replace("b", "♭") in text


def test_a_part_of_the_range_with_cents_or_without() -> None:
    instrument = load("c-trumpet")
    wish = chart.Wish("C4", "E4", cents=True)
    assert [row["written"] for row in chart.rows(instrument, wish)] == ["C4", "C#4", "D4", "Eb4", "E4"]
    assert "cents" in chart.text(instrument, wish)
    off = f">{chart.rows(instrument, wish)[1]['cents']:+.0f}</text>"
    assert off in chart.svg(instrument, wish=wish)
    assert "cents" not in chart.text(instrument)
    assert off not in chart.svg(instrument)
    for said in (chart.text(instrument), chart.svg(instrument), chart.svg(instrument, wish=wish)):
        assert "0 = open" in said
    # What lies beyond the trumpet is left out; what is no pitch, or nothing, is said.
    assert chart.rows(instrument, chart.Wish("C1", "C9")) == chart.rows(instrument)
    with pytest.raises(BadOption, match="no pitch"):
        chart.rows(instrument, chart.Wish("H4"))
    with pytest.raises(BadOption, match="nothing is left"):
        chart.rows(instrument, chart.Wish("C5", "C4"))
