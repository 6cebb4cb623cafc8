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
from tests.unit.sheet_ink import coordinates, words_of
from tests.unit.test_sheet_laws import overlaps

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


# What the engraver itself sets one over the other, of the file's own: verses that share a line, chord symbols
# at one place, figures of a tablature.
THEIRS = frozenset(
    (
        *("42a-MultiVoice-TwoVoicesOnStaff-Lyrics", "61g-Lyrics-NameNumber", "71e-TabStaves"),
        "71g-MultipleChordnames",
    )
)
# And what we set.
OURS = frozenset(
    ("fing", "partial", "intonation", "crossing", "mNum", "player", "legend", "tempo", "reh", "dir")
)
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
    for page in pages(engraving):
        assert page.tag == f"{SVG}svg"
        assert all(abs(number) < 1_000_000 for number in coordinates(page))
        width, height = map(float, (page.get("viewBox") or "").split()[2:])
        texts = sorted(words_of(page), key=lambda words: words.left)
        for words in texts:
            assert 0 <= words.left <= words.right <= width, words
            assert 0 <= words.top <= words.bottom <= height, words
        met = {classes for pair in overlaps(texts) for words in pair for classes in words.classes}
        assert not met & OURS
        assert not met or path.stem in THEIRS


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
