"""Odd and real scores from outside, engraved: every one is set, or refused in words.

Source: the lilypondTestSuite that music21 carries (small files that try every corner of MusicXML), and
Bach chorales of music21's corpus.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import music21
import pytest
from lxml import etree

from annotator.engraving.copy_source import parse
from annotator.engraving.engraving import Engraving
from annotator.errors import CrooklineError

MUSIC21 = Path(music21.__file__).parent
SUITE = sorted((MUSIC21 / "musicxml" / "lilypondTestSuite").glob("*.xml"))
CORPUS = [MUSIC21 / "corpus" / "bach" / name for name in ("bwv29.8.mxl", "bwv69.6.xml", "bwv137.5.mxl")]
SVG = "{http://www.w3.org/2000/svg}"


def pages(engraving: Engraving) -> Iterator[etree._Element]:
    for number in range(1, engraving.page_count + 1):
        yield etree.fromstring(engraving.page(number).encode())


def names(page: etree._Element, kind: str) -> list[str]:
    return [
        group.get("id", "") for group in page.iter(f"{SVG}g") if kind in (group.get("class") or "").split()
    ]


# A part without an id is no valid MusicXML: nothing can name it.
NAMELESS = "41g-PartNoId"


@pytest.mark.parametrize("path", SUITE, ids=[path.stem for path in SUITE])
def test_odd_scores_are_set_or_refused(path: Path) -> None:
    assert len(SUITE) > 100
    if path.stem == NAMELESS:
        with pytest.raises(CrooklineError, match="not in the score"):
            Engraving(path.read_bytes(), instrument="Trumpet in C")
        return
    engraving = Engraving(path.read_bytes(), instrument="Trumpet in C")
    assert [page.tag for page in pages(engraving)] == [f"{SVG}svg"] * engraving.page_count


@pytest.mark.parametrize("path", CORPUS, ids=[path.stem for path in CORPUS])
def test_real_scores_keep_every_note_and_measure(path: Path) -> None:
    data = path.read_bytes()
    root = parse(data)
    engraving = Engraving(data, instrument="Trumpet in C")
    drawn = list(pages(engraving))
    notes = [name for page in drawn for name in names(page, "note")]
    pitched = root.xpath("count(part/measure/note[pitch or unpitched])")
    assert len(notes) == len(set(notes)) == pitched
    shown = [number for page in engraving.outline() for number in page["measures"]]
    assert len(shown) == root.xpath("count(part/measure)")
