"""Laws of every sheet: its numbers can be, its notes are there, its ink is on the paper, its words are apart.

The words are measured from outside (``sheet_ink``: fontTools, in the fonts the PDF carries).
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from pathlib import Path
from typing import Any

import pytest
import verovio

import annotator
from annotator.engraving.engraving import Engraving
from annotator.engraving.paper import SIZES
from annotator.errors import UnreadableScore
from annotator.exercises.exercises import exercises
from annotator.transposed import transposed_part
from tests.unit.sheet_ink import SVG, Words, coordinates, parsed, words_of

DEMOS = sorted((Path(__file__).parents[2] / "demo_scores").glob("*.*xml")) + sorted(
    (Path(__file__).parents[2] / "demo_scores").glob("*.mxl")
)
IDS = [path.name.split("_", maxsplit=1)[0] for path in DEMOS]
# Sixteenths, two players, flags and tuplets, a score: the others are as one of these.
TRIED_IN_ALL_SIZES = ("04", "05", "06", "07")
ALL_MARKS = ("fingering", "partial", "intonation", "crossing", "cue")
# Hundredths of a millimetre: two letters that touch are not yet one over the other.
TOUCHING = 5.0


def holds(engraving: Engraving, places: list[int]) -> list[Any]:
    """The pages, looked at by the laws."""
    pages = [parsed(engraving.page(number)) for number in range(1, engraving.page_count + 1)]
    shown: set[str] = set()
    for page in pages:
        assert all(abs(number) < 1_000_000 for number in coordinates(page))
        width, height = map(float, (page.get("viewBox") or "").split()[2:])
        texts = sorted(words_of(page), key=lambda words: words.left)
        for words in texts:
            assert words.left >= 0, words
            assert words.right <= width, words
            assert words.top >= 0, words
            assert words.bottom <= height, words
        assert not list(overlaps(texts))
        shown |= {group.get("id", "") for group in page.iter(f"{SVG}g") if group.get("class") == "note"}
    assert {f"n{place}" for place in places} <= shown
    return pages


def overlaps(texts: list[Words]) -> Any:
    for index, one in enumerate(texts):
        for other in texts[index + 1 :]:
            if other.left > one.right:
                break
            if one.overlaps(other, TOUCHING):
                yield one, other


@pytest.mark.parametrize("path", DEMOS, ids=IDS)
def test_marked_parts_of_every_size_keep_the_laws(path: Path) -> None:
    options = annotator.Options(mark=ALL_MARKS, profile="student")
    marked = annotator.annotate(path.read_bytes(), options, path.name)
    places = [
        note["place"] for part in marked.report["parts"] for line in part["lines"] for note in line["notes"]
    ]
    for one in SIZES if path.name[:2] in TRIED_IN_ALL_SIZES else SIZES[:1]:
        engraving = Engraving(marked.data, marked.report, size=one, player="Maren Oddvik")
        pages = holds(engraving, places)
        for page in pages:
            assert any("Maren Oddvik" in words.text for words in words_of(page))


@pytest.mark.parametrize("path", DEMOS, ids=IDS)
def test_what_is_made_of_parts_keeps_the_laws(path: Path) -> None:
    data = path.read_bytes()
    instrument = {"instrument": "c-trumpet"}
    written = transposed_part(data, annotator.Options(mark=()), path.name)
    sheets = exercises(data, annotator.Options(), path.name)
    for one in SIZES[:2] if path.name[:2] in TRIED_IN_ALL_SIZES else SIZES[:1]:
        holds(Engraving(written, instrument, kind="transposed", size=one), [])
        holds(Engraving(sheets, instrument, kind="exercises", size=one), [])


# A note or a grace for each place under a beam, with a lyric or not, in a tuplet or not.
BEAMS = [pattern for pattern in product("ng", repeat=4) if pattern[0] == pattern[-1] == "n"]


@pytest.mark.parametrize("pattern", BEAMS, ids=["".join(pattern) for pattern in BEAMS])
@pytest.mark.parametrize("sung", [False, True], ids=["", "sung"])
@pytest.mark.parametrize("tuplet", [False, True], ids=["", "tuplet"])
def test_graces_in_beams_with_lyrics_and_tuplets(pattern: tuple[str, ...], sung: bool, tuplet: bool) -> None:
    data = score(pattern, sung=sung, tuplet=tuplet)
    marked = annotator.annotate(data, annotator.Options(mark=ALL_MARKS, instrument="bb-trumpet"), "Grace")
    places = [
        note["place"] for part in marked.report["parts"] for line in part["lines"] for note in line["notes"]
    ]
    pages = holds(Engraving(marked.data, marked.report), places)
    if sung:
        assert any(words.text.startswith("la") for page in pages for words in words_of(page))


def score(pattern: tuple[str, ...], *, sung: bool, tuplet: bool) -> bytes:
    """Three bars of a beam and rests: ``n`` an eighth, ``g`` a grace before the next one."""
    count = pattern.count("n")
    modified = tuplet and count == 3
    length = 4 if modified else 6
    notes = []
    for index, kind in enumerate(pattern):
        step = "CDEF"[index]
        beam = "begin" if index == 0 else "end" if index == len(pattern) - 1 else "continue"
        lyric = "<lyric number='1'><syllabic>single</syllabic><text>la</text></lyric>" if sung else ""
        if kind == "g":
            notes.append(
                f"<note><grace/><pitch><step>{step}</step><octave>5</octave></pitch><voice>1</voice>"
                f"<type>16th</type></note>"
            )
            continue
        change = "<actual-notes>3</actual-notes><normal-notes>2</normal-notes>"
        change = f"<time-modification>{change}</time-modification>"
        ends = {0: "start", len(pattern) - 1: "stop"}.get(index)
        marks = f"<notations><tuplet type='{ends}'/></notations>" if modified and ends else ""
        notes.append(
            f"<note><pitch><step>{step}</step><octave>5</octave></pitch><duration>{length}</duration>"
            f"<voice>1</voice><type>eighth</type>{change if modified else ''}<beam number='1'>{beam}</beam>"
            f"{marks}{lyric}</note>"
        )
    left = 48 - count * length
    bar = "".join(notes) + f"<note><rest/><duration>{left}</duration><voice>1</voice></note>"
    signs = (
        "<attributes><divisions>12</divisions><key><fifths>0</fifths></key><time><beats>4</beats>"
        "<beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>"
    )
    measures = "".join(
        f"<measure number='{number}'>{signs if number == 1 else ''}{bar}</measure>" for number in (1, 2, 3)
    )
    return (
        "<score-partwise version='4.0'><part-list><score-part id='P1'><part-name>Trumpet in F</part-name>"
        f"</score-part></part-list><part id='P1'>{measures}</part></score-partwise>"
    ).encode()


@pytest.mark.parametrize("line", [1, 2])
def test_a_sheet_for_one_of_two_players_has_their_notes_alone(line: int) -> None:
    path = next(path for path in DEMOS if path.name.startswith("05"))
    marked = annotator.annotate(path.read_bytes(), name=path.name)
    lines = {each["line"]: each["notes"] for each in marked.report["parts"][0]["lines"]}
    mine = {note["place"] for note in lines[line]}
    pages = holds(Engraving(marked.data, marked.report, line=line), sorted(mine))
    shown = {group.get("id", "") for page in pages for group in page.iter(f"{SVG}g")}
    others = {note["place"] for each, notes in lines.items() if each != line for note in notes} - mine
    assert others
    assert not {f"n{place}" for place in others} & shown
    # One fingering and one partial for each, none of a neighbour's.
    texts = [words for page in pages for words in words_of(page)]
    partials = sorted(words.text for words in texts if "partial" in words.classes)
    assert partials == sorted(str(note["partial"]) for note in lines[line] if note["partial"])
    assert not any("player" in words.classes for words in texts)


def lost(svg: str) -> str:
    """A drawing whose first notehead is where the engraver writes when it has lost its sums."""
    before, head, after = svg.partition('class="notehead"')
    return before + head + after.replace("translate(", "translate(-2147483648", 1)


FAULTS = {
    "numbers": lost,
    "notes": lambda svg: svg.replace('id="n1"', 'id="x"'),
    "margin": lambda svg: svg.replace(" L", " L9999", 1),
}


def drawn_with(monkeypatch: pytest.MonkeyPatch, fault: Callable[[str], str]) -> None:
    drawn = verovio.toolkit.renderToSVG
    monkeypatch.setattr(verovio.toolkit, "renderToSVG", lambda self, number: fault(drawn(self, number)))


@pytest.mark.parametrize("sung", [False, True])
def test_what_the_engraver_cannot_draw_is_drawn_otherwise(
    sung: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An engraver that loses its sums over a lyric, or over a beam."""
    trouble = ">la<" if sung else 'class="beam"'
    drawn_with(monkeypatch, lambda svg: lost(svg) if trouble in svg else svg)
    data = score(("n", "n", "n"), sung=sung, tuplet=False)
    engraving = Engraving(data, instrument="Trumpet in C")
    pages = holds(engraving, [0, 1, 2])
    texts = [words.text for page in pages for words in words_of(page)]
    assert ("la" in texts) == sung
    assert any("without beams" in text for text in texts) != sung


@pytest.mark.parametrize("fault", FAULTS)
def test_no_page_leaves_with_a_fault(fault: str, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn_with(monkeypatch, FAULTS[fault])
    with pytest.raises(UnreadableScore, match="engraver"):
        Engraving(score(("n", "n"), sung=False, tuplet=False), instrument="Trumpet in C").page(1)
