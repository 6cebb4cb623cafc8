"""A file without ``<accidental>``: the sheet shows what is sounded, and a finding says so."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from lxml import etree

import annotator
from annotator.engraving.copy_source import copy_part, parse
from annotator.engraving.engraving import Engraving
from annotator.score.source import open_source
from tests.unit.sheet_ink import SVG, parsed

DEMOS = sorted((Path(__file__).parents[2] / "demo_scores").glob("*.musicxml"))
HREF = "{http://www.w3.org/1999/xlink}href"
# A courtesy accidental is nobody's need: such a file gets none.
_PRINTED = re.compile(r"\s*<accidental(?=[\s>])[^>]*>[^<]*</accidental>")


def codes(report: dict[str, object]) -> list[str]:
    return [warning["code"] for warning in report["warnings"]]  # type: ignore[attr-defined]


@pytest.mark.parametrize("path", DEMOS, ids=[path.name[:2] for path in DEMOS])
def test_what_the_file_leaves_out_is_drawn_where_the_file_had_it(path: Path) -> None:
    source = open_source(path.read_bytes())
    bare = source.with_text(_PRINTED.sub("", source.text))
    whole = annotator.annotate(path.read_bytes(), name=path.name)
    left_out = annotator.annotate(bare, name=path.name)
    assert "no-accidentals" not in codes(whole.report)
    for part in whole.report["parts"]:
        before, after = parse(whole.data), parse(left_out.data)
        printed = before.xpath(
            f"part[@id='{part['id']}']//accidental[not(@cautionary) and not(@parentheses)]"
        )
        if printed:
            assert "no-accidentals" in codes(left_out.report)
        copies = [copy_part(root, part["id"]).xml for root in (before, after)]
        needed = [signs(copy, part["id"]) for copy in copies]
        # All that the file printed of need is back; a publisher's courtesy is not.
        assert needed[1] <= needed[0]
        assert len(needed[1]) >= 0.8 * len(needed[0])


def signs(xml: str, part: str) -> set[tuple[str, str]]:
    root = etree.fromstring(xml.encode())
    return {
        (note.get("id", ""), note.findtext("accidental") or "")
        for note in root.iterfind(f"part[@id='{part}']/measure/note")
        if note.find("accidental") is not None
    }


def test_it_is_on_the_page() -> None:
    note = "<note><pitch><step>F</step><alter>1</alter><octave>5</octave></pitch><duration>4</duration>"
    data = (
        "<score-partwise version='4.0'><part-list><score-part id='P1'><part-name>Trumpet in C</part-name>"
        "</score-part></part-list><part id='P1'><measure number='1'><attributes><divisions>1</divisions>"
        f"<key><fifths>0</fifths></key></attributes>{note}<type>whole</type></note></measure></part>"
        "</score-partwise>"
    ).encode()
    marked = annotator.annotate(data)
    assert codes(marked.report).count("no-accidentals") == 1
    page = parsed(Engraving(marked.data, marked.report).page(1))
    drawn = [use.get(HREF, "") for use in page.iter(f"{SVG}use")]
    # SMuFL 1.4: the sharp is U+E262.
    assert any(name.startswith("#E262") for name in drawn)
