"""Engraved sheets: nothing missing, nothing twice, nothing off the paper, and the print says the same."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections import Counter
from collections.abc import Iterator
from functools import cache
from io import BytesIO
from math import ceil
from pathlib import Path
from typing import Any

import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

import annotator
from annotator.engraving import layout
from annotator.engraving.copy_source import Bar, copy_part, parse
from annotator.engraving.engraving import Engraving
from annotator.engraving.paper import PAPERS, paper
from annotator.engraving.printing import to_pdf
from annotator.errors import BadOption, NoTrumpetPart, UnreadableScore
from annotator.score.numbers import text_of
from annotator.score.ours import END, begin
from annotator.transposed import transposed_part
from tests.unit.sheet_ink import curves_of, words_of

DEMOS = sorted((Path(__file__).parents[2] / "demo_scores").glob("*.*xml")) + sorted(
    (Path(__file__).parents[2] / "demo_scores").glob("*.mxl")
)
IDS = [path.name.split("_", maxsplit=1)[0] for path in DEMOS]
SVG = "{http://www.w3.org/2000/svg}"
POINTS_TO_MM = 25.4 / 72


@cache
def marked(path: Path) -> annotator.Annotated:
    return annotator.annotate(path.read_bytes(), name=path.name)


@cache
def engraved(path: Path) -> Engraving:
    return Engraving(marked(path).data, marked(path).report)


@cache
def drawn(path: Path) -> tuple[etree._Element, ...]:
    engraving = engraved(path)
    return tuple(
        etree.fromstring(engraving.page(number).encode()) for number in range(1, engraving.page_count + 1)
    )


def groups(page: etree._Element, name: str) -> list[etree._Element]:
    return [group for group in page.iter(f"{SVG}g") if name in (group.get("class") or "").split()]


def words(mark: etree._Element) -> str:
    return "".join("".join(map(str, mark.itertext())).split())


def report_notes(path: Path) -> list[dict[str, Any]]:
    return [note for part in marked(path).report["parts"] for line in part["lines"] for note in line["notes"]]


def fonts(reader: pypdf.PdfReader) -> Iterator[Any]:
    for page in reader.pages:
        for font in page["/Resources"].get("/Font", {}).values():  # type: ignore[attr-defined]
            yield font.get_object()


def embedded(font: Any) -> bool:
    descendants = font.get("/DescendantFonts")
    holder = descendants[0].get_object() if descendants else font
    descriptor = holder["/FontDescriptor"].get_object()
    return any(f"/FontFile{kind}" in descriptor for kind in ("", "2", "3"))


@pytest.mark.parametrize("path", DEMOS, ids=IDS)
def test_every_note_of_the_report_is_on_the_sheets_once(path: Path) -> None:
    seen = Counter(note.get("id") for page in drawn(path) for note in groups(page, "note"))
    for note in report_notes(path):
        assert seen[f"n{note['place']}"] == 1, note


@pytest.mark.parametrize("path", DEMOS, ids=IDS)
def test_every_measure_is_on_one_page(path: Path) -> None:
    root = parse(marked(path).data)
    shown: dict[str, list[str]] = {}
    for page, sheet in zip(engraved(path).outline(), drawn(path), strict=True):
        assert groups(sheet, "measure")[0].get("id") == f"m{page['from']}"
        shown.setdefault(page["part"], []).extend(page["measures"])
    for part, numbers in shown.items():
        assert numbers == [measure.get("number") for measure in root.xpath(f"part[@id='{part}']/measure")]


@pytest.mark.parametrize("path", DEMOS, ids=IDS)
def test_every_fingering_is_drawn(path: Path) -> None:
    wanted = Counter(
        words(fingering) for fingering in parse(marked(path).data).xpath("part//technical/fingering")
    )
    # A second fingering stands in brackets.
    found = Counter(words(mark).strip("()") for page in drawn(path) for mark in groups(page, "fing"))
    shown = {part["id"] for part in marked(path).report["parts"]}
    assert shown == {page["part"] for page in engraved(path).outline()}
    assert found == wanted


@pytest.mark.parametrize("path", DEMOS, ids=IDS)
def test_no_fingering_touches_a_slur(path: Path) -> None:
    for page in drawn(path):
        points = [point for curve in curves_of(page, "slur", "tie") for point in curve]
        for mark in words_of(page):
            if "fing" in mark.classes:
                touching = [
                    (x, y) for x, y in points if mark.left < x < mark.right and mark.top < y < mark.bottom
                ]
                assert not touching, mark.text


@pytest.mark.parametrize("path", DEMOS, ids=IDS)
def test_print_says_what_the_sheets_say(path: Path) -> None:
    engraving = engraved(path)
    reader = pypdf.PdfReader(BytesIO(engraving.pdf()))
    assert len(reader.pages) == engraving.page_count
    for page in reader.pages:
        # ISO 216: A4 is 210 by 297 millimetres.
        assert float(page.mediabox.width) * POINTS_TO_MM == pytest.approx(210, abs=0.1)
        assert float(page.mediabox.height) * POINTS_TO_MM == pytest.approx(297, abs=0.1)
    found = list(fonts(reader))
    assert found
    assert all(embedded(font) for font in found)
    text = "\n".join(page.extract_text() for page in reader.pages)
    for fingering in {note["fingering"] for note in report_notes(path)} - {None}:
        assert fingering in text
    for sheet in engraving.outline():
        part = next(part for part in marked(path).report["parts"] if part["id"] == sheet["part"])
        assert part["name"].split()[0] in text
    assert "valves to press" in text


@pytest.mark.parametrize("path", DEMOS[:4], ids=IDS[:4])
@pytest.mark.parametrize("size", ["a4", "letter", "part", "a6"])
def test_pictures_are_neither_empty_nor_cut(path: Path, size: str, tmp_path: Path) -> None:
    if shutil.which("pdftoppm") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("CI must have pdftoppm")
        pytest.skip("pdftoppm is not installed")
    engraving = Engraving(marked(path).data, marked(path).report, paper=paper(size))
    (tmp_path / "part.pdf").write_bytes(engraving.pdf())
    subprocess.run(["pdftoppm", "-r", "60", "-gray", "part.pdf", "page"], cwd=tmp_path, check=True)
    pictures = sorted(tmp_path.glob("page*.pgm"))
    assert len(pictures) == engraving.page_count
    for picture in pictures:
        width, height, gray = pgm(picture)
        edge = ceil(paper(size).margin * 0.5 / 25.4 * 60)  # half the margin stays white
        rows = [gray[row * width : (row + 1) * width] for row in range(height)]
        inked = [row for row in range(height) if min(rows[row]) < 128]
        assert sum(byte < 128 for byte in gray) > 40  # more than a page number alone
        assert inked[0] >= edge
        assert inked[-1] < height - edge
        assert all(min(row[:edge]) > 200 and min(row[-edge:]) > 200 for row in rows)


def pgm(picture: Path) -> tuple[int, int, bytes]:
    """A binary PGM (Netpbm): width, height, one byte for each pixel."""
    kind, size, depth, gray = picture.read_bytes().split(b"\n", 3)
    assert (kind, depth) == (b"P5", b"255")
    width, height = map(int, size.split())
    return width, height, gray


def test_key_changes_of_the_cue_line_alone_are_drawn() -> None:
    """The engraver's import takes the first part's keys for all: here each staff must have its own."""
    data = two_staves(["", "", ""], ["<key><fifths>-1</fifths></key>", "", "<key><fifths>4</fifths></key>"])
    page = etree.fromstring(Engraving(data).page(1).encode())
    signatures = [len(list(key.iter(f"{SVG}use"))) for key in groups(page, "keySig")]
    assert sorted(signatures) == [0, 1, 4]


def test_rests_become_one_bar_of_many_and_keep_their_count() -> None:
    empty = '<note><rest measure="yes"/><duration>4</duration></note>'
    page = etree.fromstring(Engraving(one_staff([*[NOTE] * 2, *[empty] * 17, *[NOTE] * 2])).page(1).encode())
    rests = groups(page, "multiRest")
    assert len(rests) == 1
    assert [measure.get("id") for measure in groups(page, "measure")] == ["m0", "m1", "m2", "m19", "m20"]
    digits = [use.get("{http://www.w3.org/1999/xlink}href", "")[1:5] for use in rests[0].iter(f"{SVG}use")]
    # SMuFL 1.4: time signature digits are U+E080 to U+E089; a long rest is counted with them.
    assert [code for code in digits if code.startswith("E08")] == ["E081", "E087"]


def test_words_in_a_rest_keep_it_apart() -> None:
    empty = '<note><rest measure="yes"/><duration>4</duration></note>'
    words = "<direction><direction-type><words>muta in E</words></direction-type></direction>"
    page = etree.fromstring(
        Engraving(one_staff([NOTE, *[empty] * 4, words + empty, *[empty] * 3])).page(1).encode()
    )
    assert [measure.get("id") for measure in groups(page, "measure")] == ["m0", "m1", "m5"]


NOTE = "<note><pitch><step>G</step><octave>4</octave></pitch><duration>4</duration><type>whole</type></note>"


def one_staff(bars: list[str]) -> bytes:
    measures = "".join(
        f'<measure number="{number}">{ATTRIBUTES if number == 1 else ""}{bar}</measure>'
        for number, bar in enumerate(bars, start=1)
    )
    return f"{HEAD}</part-list><part id='P1'>{measures}</part></score-partwise>".encode()


def two_staves(above: list[str], below: list[str]) -> bytes:
    def measures(keys: list[str], first: str) -> str:
        return "".join(
            f'<measure number="{number}"><attributes>{"<divisions>1</divisions>" if number == 1 else ""}{key}'
            f"{first if number == 1 else ''}</attributes>{NOTE}</measure>"
            for number, key in enumerate(keys, start=1)
        )

    cue = "<staff-details><staff-type>cue</staff-type><staff-size>65</staff-size></staff-details>"
    return (
        f"{HEAD}{begin('cue')}<score-part id='P2'><part-name>cue</part-name></score-part>{END}</part-list>"
        f"<part id='P1'>{measures(above, '')}</part>"
        f"{begin('cue')}<part id='P2'>{measures(below, cue)}</part>{END}</score-partwise>"
    ).encode()


ATTRIBUTES = "<attributes><divisions>1</divisions></attributes>"
HEAD = (
    "<score-partwise version='4.0'><part-list><score-part id='P1'><part-name>Tromba</part-name></score-part>"
)


def with_others_cue(trumpet: str, *, before: bool) -> bytes:
    """A trumpet part with a cue staff of the flute's, above or below it, that came with the file."""
    small = (
        "<part id='F'><measure number='1'><attributes><divisions>1</divisions><staff-details><staff-type>cue"
        f"</staff-type></staff-details></attributes>{NOTE}</measure></part>"
    )
    part = f"<part id='P1'><measure number='1'>{ATTRIBUTES}{trumpet}</measure></part>"
    listed = "<score-part id='F'><part-name>Flauto</part-name></score-part>"
    parts = small + part if before else part + small
    head = HEAD.replace("<part-list>", f"<part-list>{listed}") if before else HEAD + listed
    return f"{head}</part-list>{parts}</score-partwise>".encode()


@pytest.mark.parametrize("before", [True, False])
def test_a_cue_staff_that_came_with_the_file_is_not_the_line_as_read(before: bool) -> None:
    attention = "<direction><direction-type><words>!Attenzione</words></direction-type></direction>"
    data = with_others_cue(attention + NOTE, before=before)
    marked = annotator.annotate(data, annotator.Options(mark=("fingering",)))
    (note,) = marked.report["parts"][0]["lines"][0]["notes"]
    engraving = Engraving(marked.data, marked.report)
    page = engraving.page(1)
    drawn = etree.fromstring(page.encode())
    assert [one.get("id") for one in groups(drawn, "note")] == [f"n{note['place']}"]
    assert note["place"] == (1 if before else 0)
    words = " ".join("".join(map(str, drawn.itertext())).split())
    assert "!Attenzione" in words
    assert "awkward crossing" not in words
    assert "as read" not in words
    assert "valves to press" in words
    # Nor is it left out where every part is set.
    assert len(Engraving(marked.data).outline()) == 2


def test_the_cue_line_under_its_part_is_drawn_and_the_next_part_is_not() -> None:
    data = with_others_cue(NOTE, before=False).replace(b"Tromba", b"Tromba in E")
    marked = annotator.annotate(data, annotator.Options(mark=("cue",)))
    drawn = etree.fromstring(Engraving(marked.data, marked.report).page(1).encode())
    assert [one.get("id") for one in groups(drawn, "note")] == ["n0", "q0"]
    assert "as read" in "".join(map(str, drawn.itertext()))


bars = st.builds(
    lambda lead, trail, rests: Bar("1", 4.0, 4.0, 4.0) if rests else Bar("1", 4.0, lead, trail),
    st.sampled_from([0.0, 1.0, 2.0]),
    st.sampled_from([0.0, 1.0, 2.0]),
    st.booleans(),
)


def cuts(heights: list[float], music: list[Bar], rooms: tuple[float, float]) -> list[int]:
    """How many systems of four bars each go on each page."""
    shapes = [layout.Shape(height, 500.0, 500.0, 4 * index) for index, height in enumerate(heights)]
    found: list[int] = []
    start = 0
    while start < len(shapes):
        left = shapes[start:]
        count = layout.first_cut(
            left,
            lambda _: 900.0,
            lambda at, left=left: layout.free_time(left[at].first, music),  # type: ignore[misc]
            rooms if start == 0 else (rooms[1], rooms[1]),
            right=len(found) % 2 == 0,
            complete=True,
        )
        found.append(count)
        start += count
    return found


@given(st.lists(st.sampled_from([700.0, 1800.0, 2600.0, 9000.0]), min_size=1, max_size=40), st.data())
def test_pages_take_every_system_once_and_hold_what_they_take(
    heights: list[float], data: st.DataObject
) -> None:
    music = data.draw(st.lists(bars, min_size=4 * len(heights), max_size=4 * len(heights)))
    found = cuts(heights, music, (12000.0, 14000.0))
    assert sum(found) == len(heights)
    start = 0
    for number, count in enumerate(found):
        used = 1000.0 + sum(heights[start : start + count]) + 900.0 * (count - 1)
        assert count == 1 or used <= (12000.0 if number == 0 else 14000.0)
        start += count


def test_a_page_turns_in_the_rest_and_none_holds_two_systems() -> None:
    """Two cuts use the paper alike; only after system 3 is there a rest."""
    busy, free = Bar("1", 4.0, 0.0, 0.0), Bar("1", 4.0, 4.0, 4.0)
    music = [busy] * 32
    music[14:18] = [free] * 4
    assert cuts([2000.0] * 8, music, (15500.0, 15500.0))[0] == 4
    assert cuts([2000.0] * 8, [busy] * 32, (21500.0, 21500.0)) == [5, 3]


@pytest.mark.parametrize("size", [one.id for one in PAPERS])
def test_paper_sizes(size: str) -> None:
    """A4, A3 and A6: ISO 216; Letter: ANSI/ASME Y14.1; the part size: 9.5 by 12.5 inches."""
    expected = {
        "a3": (297.0, 420.0),
        "a4": (210.0, 297.0),
        "a6": (105.0, 148.0),
        "letter": (8.5 * 25.4, 11 * 25.4),
        "part": (9.5 * 25.4, 12.5 * 25.4),
    }
    assert (paper(size).width, paper(size).height) == pytest.approx(expected[size], abs=0.05)


@pytest.mark.parametrize("path", DEMOS, ids=IDS)
def test_what_is_written_out_is_headed_as_it_reads_on_every_page(path: Path) -> None:
    written = transposed_part(path.read_bytes(), annotator.Options(mark=()), path.name)
    engraving = Engraving(written, marked(path).report, kind="transposed")
    names = [text_of(name) for name in parse(written).iterfind("part-list/score-part/part-name")]
    reader = pypdf.PdfReader(BytesIO(engraving.pdf()))
    assert len(reader.pages) == engraving.page_count > 0
    for page in reader.pages:
        text = " ".join(page.extract_text().split())
        assert any(name in text for name in names), text[:200]
        for part in marked(path).report["parts"]:
            assert part["name"] not in text or any(part["name"] in name for name in names)
    assert "written out for" in engraving.page(1)
    assert "marked for" not in engraving.page(1)


def test_letters_beyond_the_carried_fonts_do_not_stop_the_print() -> None:
    page = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 210 297"><text x="9" y="9">序曲 A</text></svg>'
    )
    assert len(pypdf.PdfReader(BytesIO(to_pdf([page], 210.0, [297.0]))).pages) == 1


def test_what_cannot_be_engraved_says_why() -> None:
    with pytest.raises(UnreadableScore, match=r"not? well-formed"):
        Engraving(b"<score-partwise><part>")
    with pytest.raises(UnreadableScore, match="no MusicXML score"):
        Engraving(b"<html/>")
    with pytest.raises(NoTrumpetPart, match="P9"):
        Engraving(one_staff([NOTE]), part="P9")
    with pytest.raises(BadOption, match="there is no page 7"):
        Engraving(one_staff([NOTE])).page(7)
    with pytest.raises(BadOption, match="folio"):
        paper("folio")
    with pytest.raises(BadOption, match="kind"):
        Engraving(one_staff([NOTE]), kind="painted")


def test_timewise_scores_are_turned_round() -> None:
    timewise = (
        "<score-timewise version='4.0'><part-list><score-part id='P1'><part-name>A</part-name></score-part>"
        f"</part-list><measure number='1'><part id='P1'>{ATTRIBUTES}{NOTE}</part></measure>"
        f"<measure number='2'><part id='P1'>{NOTE}</part></measure></score-timewise>"
    )
    copy = copy_part(parse(timewise.encode()), "P1")
    assert [bar.number for bar in copy.bars] == ["1", "2"]
    assert Engraving(timewise.encode()).page_count == 1
