"""What the programs people use make of a marked file: it opens, the notes stay, what is shown, kept or lost.

The consumers are MuseScore 3.2 and LilyPond 2.24 (Debian), verovio, music21 and partitura (package index).
The table in DEVELOPERS.md is made here: ``python -m tests.reference.test_consumers`` writes it, and a test
holds it.
"""

from __future__ import annotations

import os
import re
from collections import Counter
from collections.abc import Callable
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import pytest
from lxml import etree

import annotator
from annotator.annotation import stripped
from annotator.importing.opening import open_score
from annotator.registry.mark_rows import MARK_NAMES
from annotator.score.source import open_source
from annotator.transposed import transposed_part
from tests.reference import consumers
from tests.reference.corpus import LILYPOND_SUITE, part_ids

ROOT = Path(__file__).parents[2]
DEMO = sorted(path for path in (ROOT / "demo_scores").iterdir() if path.suffix in (".musicxml", ".mxl"))
SUITE = [
    path
    for path in LILYPOND_SUITE
    if path.name.startswith(("01a-", "21a-", "24a-", "33a-", "41a-", "43a-", "45b-", "61a-", "61b-", "72a-"))
]
"""Pitches, chords, grace notes, spanners, several parts, two staves, repeats, lyrics, transposing parts."""
DRAWN = ("04", "05", "06")
"""The demo parts that have every kind of mark between them: trills, two players on a staff, crossings."""
RESAVED = ("01", "02", "04", "05", "06", "08", "09")
"""The demo parts that are saved by every program: two crooks, trills, chords, a compressed file, UTF-16."""
OPTIONS = annotator.Options(mark=MARK_NAMES)

pytestmark = [
    pytest.mark.skipif(
        bool(consumers.installed()) and not os.environ.get("CI"), reason=f"wants {consumers.installed()}"
    ),
    pytest.mark.timeout(600),
]


@cache
def folder() -> Path:
    return Path(mkdtemp(prefix="consumers-"))


@cache
def cases() -> tuple[str, ...]:
    """Every case's name; its files are put into the folder: as it came, marked, written out for the hand."""
    names = []
    for path in (*DEMO, *SUITE):
        data = open_source(path.read_bytes()).xml
        every = tuple(part_ids(data)) if path in SUITE else ()
        options = annotator.Options(mark=MARK_NAMES, part=every)
        name = path.name.partition("_")[0].partition("-")[0]
        (folder() / f"{name}.musicxml").write_bytes(data)
        (folder() / f"{name}.marked.musicxml").write_bytes(annotator.annotate(data, options).data)
        out = annotator.Options(instrument="bb-trumpet", mark=("fingering",), part=every)
        (folder() / f"{name}.transposed.musicxml").write_bytes(transposed_part(data, out))
        names.append(name)
    return tuple(names)


@cache
def at(name: str, kind: str = "") -> Path:
    cases()
    return folder() / f"{name}{kind}.musicxml"


@cache
def saved_by_musescore() -> dict[Path, Path]:
    """All files in one run of the program, for its start is what takes long."""
    return consumers.musescore(
        [at(name, kind) for name in cases() for kind in ("", ".marked", ".transposed")]
    )


def musescore(file: Path) -> bytes:
    return saved_by_musescore()[file].read_bytes()


SAVERS: dict[str, Callable[[Path], bytes]] = {
    "MuseScore": cache(musescore),
    "music21": cache(consumers.with_music21),
    "partitura": cache(consumers.with_partitura),
}
lilypond = cache(consumers.with_lilypond)
drawn_by_verovio = cache(consumers.with_verovio)


def demo_names() -> list[str]:
    return [path.name.partition("_")[0] for path in DEMO]


def names() -> list[str]:
    return [path.name.partition("_")[0].partition("-")[0] for path in (*DEMO, *SUITE)]


# music21 and partitura have the demo parts alone: on the suite's odd corners they give up on the plain file.
@pytest.mark.parametrize("consumer", SAVERS)
def test_marked_files_open_and_their_notes_are_the_same(consumer: str) -> None:
    save = SAVERS[consumer]
    for name in names() if consumer == "MuseScore" else RESAVED:
        plain = consumers.notes_of(save(at(name)))
        assert consumers.notes_of(save(at(name, ".marked"))) == plain, name
        assert any(notes for notes in plain), name
        if consumer == "MuseScore":
            save(at(name, ".transposed"))


@pytest.mark.parametrize("consumer", ["MuseScore", "music21"])
def test_a_saved_file_is_known_again_and_gives_back_what_a_plain_one_gives(consumer: str) -> None:
    """Annotate, save in the program, annotate again, strip: nothing doubled, nothing left, file by file."""
    save = SAVERS[consumer]
    for name in RESAVED:
        saved, plain = save(at(name, ".marked")), save(at(name))
        clean = annotator.strip(saved)
        assert consumers.notes_of(clean) == consumers.notes_of(plain), name
        assert count(clean) == count(plain), name
        assert len(etree.fromstring(clean).findall("part")) == len(etree.fromstring(plain).findall("part"))
        again = annotator.annotate(saved, OPTIONS)
        assert again.data == annotator.annotate(clean, OPTIONS).data, name
        assert annotator.annotate(again.data, OPTIONS).data == again.data, name
        assert annotator.strip(again.data) == clean, name
        assert "marks-not-recognised" not in [each["code"] for each in again.report["warnings"]]
        assert stripped(saved).unknown == 0


def test_where_too_little_survives_it_is_said() -> None:
    """partitura keeps neither lyrics nor words nor the record, and of a fingering one figure."""
    for name in RESAVED:
        saved = SAVERS["partitura"](at(name, ".marked"))
        has_cue = b"as read" in saved
        found = stripped(saved)
        left = len(list(etree.fromstring(saved).iter("fingering")))
        assert found.unknown == (left if has_cue else 0), name
        assert len(etree.fromstring(found.data).findall("part")) == len(consumers.parts(saved)), name
        if has_cue:
            codes = [each["code"] for each in annotator.annotate(saved, OPTIONS).report["warnings"]]
            assert "marks-not-recognised" in codes, name
        assert not list(etree.fromstring(stripped(saved, force=True).data).iter("fingering")), name


def test_what_a_player_changed_in_the_editor_stays() -> None:
    """In a file saved by MuseScore one fingering is another, and one is gone."""
    root = etree.fromstring(musescore(at("01", ".marked")))
    texts = [
        note
        for note in consumers.parts(etree.tostring(root))[0].iter("note")
        if note.find(".//fingering") is not None
    ]
    assert len(texts) > 100
    notes = [note for note in root.iter("note") if note.find(".//fingering") is not None]
    changed = notes[3].find(".//fingering")
    assert changed is not None
    was = changed.text
    changed.text = "3" if was != "3" else "1-3"
    removed = notes[7].find(".//technical")
    assert removed is not None
    removed.clear()
    data = etree.tostring(root, encoding="UTF-8", xml_declaration=True)
    (left,) = etree.fromstring(annotator.strip(data)).iter("fingering")
    assert left.text == changed.text
    again = annotator.annotate(data, OPTIONS)
    note = etree.fromstring(again.data).findall("part")[0].findall(".//fingering")[3]
    assert note.text == changed.text
    (said,) = [each for each in again.report["warnings"] if each["code"] == "printed-fingering"]
    assert changed.text in said["message"]
    assert len(list(etree.fromstring(again.data).iter("fingering"))) == len(notes)


def test_an_editors_own_file_is_marked_like_its_export() -> None:
    own = saved_by_musescore()[at("01")].with_suffix(".mscx")
    score, lost = open_score(own.read_bytes(), own.name)
    assert not lost
    assert consumers.notes_of(score) == consumers.notes_of(musescore(at("01")))
    assert annotator.annotate(score, OPTIONS).report["summary"]["notes"] > 100


@pytest.mark.parametrize("name", DRAWN)
def test_lilypond_sets_the_same_notes_and_every_mark(name: str) -> None:
    plain, _ = lilypond(at(name))
    source, _ = lilypond(at(name, ".marked"))
    assert consumers.ly_music(source) == consumers.ly_music(plain)
    wanted = count_ours(name)
    syllables = consumers.ly_syllables(source)
    assert sum(text.isdigit() for text in syllables) == wanted["partial"]


@pytest.mark.parametrize("name", demo_names())
def test_verovio_draws_the_marks_and_plays_the_same_notes(name: str) -> None:
    _, plain = drawn_by_verovio(at(name))
    _, marked = drawn_by_verovio(at(name, ".marked"))
    # The cue line is a track of its own, in which nothing is to be heard.
    assert [track for track in marked if track] == [track for track in plain if track]


# --- the table ---------------------------------------------------------------------------------------------


def count(data: bytes) -> Counter[str]:
    """Marks by kind, told apart by what they say."""
    found: Counter[str] = Counter()
    for mark, times in consumers.marks_in(data).items():
        kind, _, text = mark.partition(":")
        if kind == "lyric":
            kind = "partial" if text.isdigit() else "intonation"
        found[{"words": "crossing"}.get(kind, kind)] += times
    return found


@cache
def count_ours(name: str) -> Counter[str]:
    """What was put in: the marks of the marked file, those it came with taken off."""
    marked = etree.fromstring(at(name, ".marked").read_bytes())
    found = count(at(name, ".marked").read_bytes()) - count(at(name).read_bytes())
    alternates = len(marked.findall(".//fingering[@alternate='yes']"))
    found["fingering"] -= alternates
    found["alternate"] = alternates
    found["below"] = len(marked.findall(".//fingering[@placement='below']"))
    found["cue"] = len(marked.findall("part")[-1].findall(".//note[cue]/pitch"))
    return found


def kept(consumer: str, name: str) -> Counter[str]:
    """What is there of our marks once a program has saved the file."""
    saved = SAVERS[consumer](at(name, ".marked"))
    root = etree.fromstring(saved)
    found = count(saved) - count(SAVERS[consumer](at(name)))
    ours = count_ours(name)
    printed = [
        element.text
        for part in consumers.parts(at(name, ".marked").read_bytes())
        for element in part.iter("fingering")
        if element.get("alternate") != "yes"
    ]
    there = [element.text for part in consumers.parts(saved) for element in part.iter("fingering")]
    same = sum((Counter(printed) & Counter(there)).values())
    found["alternate"] = max(0, len(there) - ours["fingering"])
    found["fingering"] = same
    found["below"] = len(root.findall(".//fingering[@placement='below']"))
    last = root.findall("part")[-1]
    found["cue"] = len(last.findall(".//pitch"))
    found["small"] = sum(
        note.find("pitch") is not None and (note.find("cue") is not None or _size(note) == "cue")
        for note in last.iter("note")
    )
    silent = root.findtext("part-list/score-part[last()]/midi-instrument/volume")
    found["silent"] = ours["cue"] if silent == "0" else _unheard(last)
    return found


def _size(note: etree._Element) -> str | None:
    kind = note.find("type")
    return kind.get("size") if kind is not None else None


def _unheard(part: etree._Element) -> int:
    notes = (note for note in part.iter("note") if note.find("pitch") is not None)
    return sum(float(note.get("dynamics", "100")) == 0 for note in notes)


def shown_by_lilypond(name: str) -> Counter[str]:
    source, marked = lilypond(at(name, ".marked"))
    _, plain = lilypond(at(name))
    notes = consumers.ly_blocks(source, "relative")
    syllables = consumers.ly_syllables(source)
    ours = count_ours(name)
    found: Counter[str] = Counter()
    fingerings = consumers.LILYPOND_FINGERING.findall(notes)
    found["fingering"] = min(len(fingerings), ours["fingering"])
    found["alternate"] = len(fingerings) - found["fingering"]
    found["below"] = len(re.findall(r"(?<=[\s>])_\d(?:-\d)*(?=\s)", notes))
    found["partial"] = sum(text.isdigit() for text in syllables)
    said = etree.fromstring(at(name, ".marked").read_bytes()).iterfind(".//lyric[@name='intonation']/text")
    found["intonation"] = sum((Counter(syllables) & Counter(text.text or "" for text in said)).values())
    found["crossing"] = len(re.findall(r"\{!", notes))
    extra = marked[len(plain) :]
    found["cue"] = ours["cue"] if re.search(r"^\w*cue\w* *= *\\relative", source, re.MULTILINE) else 0
    found["silent"] = 0 if extra else ours["cue"]
    return found


def shown_by_verovio(name: str) -> Counter[str]:
    pages, marked = drawn_by_verovio(at(name, ".marked"))
    plain_pages, _ = drawn_by_verovio(at(name))
    mei = consumers.loaded(at(name, ".marked")).getMEI({"removeIds": False})
    ours = count_ours(name)
    found: Counter[str] = Counter()
    fingerings = len(re.findall(r'class="fing"', pages))
    found["fingering"] = min(fingerings, ours["fingering"])
    found["alternate"] = fingerings - found["fingering"]
    found["below"] = len(re.findall(r'<fing [^>]*place="below"', mei))
    found["partial"] = len(re.findall(r'label="partial"', mei))
    found["intonation"] = len(re.findall(r'label="intonation"', mei))
    found["crossing"] = len(re.findall(r">!{1,3} ", pages)) - len(re.findall(r">!{1,3} ", plain_pages))
    small = len(re.findall(r"<note [^>]*cue=\"true\"", mei))
    found["cue"] = found["small"] = min(small, ours["cue"])
    found["silent"] = ours["cue"] if not any(marked[1:]) else 0
    return found


ROWS = (
    ("fingering", "fingering", "fingering"),
    ("alternate fingering", "alternate", "alternate"),
    ("a lower player's fingering under the staff", "below", "below"),
    ("partial", "partial", "partial"),
    ("slides and cents", "intonation", "intonation"),
    ("awkward crossing", "crossing", "crossing"),
    ("cue line", "cue", "cue"),
    ("its notes small", "small", "cue"),
    ("its notes silent", "silent", "cue"),
)
SHOWING = {"LilyPond": shown_by_lilypond, "verovio": shown_by_verovio}


def cell(got: int, of: int, all_of_it: str) -> str:
    """``got`` marks of ``of`` in words; figures would change with every other choice of a fingering."""
    if got >= of:
        return all_of_it
    if got >= 0.9 * of:
        return "nearly all"
    return "some" if got > 0 else "lost"


def table() -> str:
    """The table of marks and consumers, over the parts of ``DRAWN``."""
    wanted: Counter[str] = Counter()
    found: dict[str, Counter[str]] = {}
    for name in DRAWN:
        wanted += count_ours(name)
        for consumer, show in SHOWING.items():
            found.setdefault(consumer, Counter()).update(show(name))
        for consumer in SAVERS:
            found.setdefault(consumer, Counter()).update(kept(consumer, name))
    columns = ("MuseScore", "LilyPond", "verovio", "music21", "partitura")
    words = {"MuseScore": "shown, kept", "LilyPond": "shown", "verovio": "shown"}
    lines = [f"| mark | {' | '.join(columns)} |", f"|---{'|---' * len(columns)}|"]
    for title, kind, whole in ROWS:
        cells = [cell(found[each][kind], wanted[whole], words.get(each, "kept")) for each in columns]
        lines.append(f"| {title} | {' | '.join(cells)} |")
    known = [
        cell(
            sum(sum(stripped(SAVERS[each](at(name, ".marked"))).counts.values()) > 1 for name in DRAWN),
            len(DRAWN),
            "yes",
        )
        if each in SAVERS and each != "partitura"
        else ("the cue line only" if each == "partitura" else "saves no MusicXML")
        for each in columns
    ]
    lines.append(f"| known again once saved | {' | '.join(known)} |")
    return "\n".join(lines)


BETWEEN = re.compile(r"(?<=<!-- consumers -->\n).*?(?=\n<!-- end -->)", re.DOTALL)


def test_the_table_in_the_documentation_is_true() -> None:
    (written,) = BETWEEN.findall((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))
    assert written.strip() == table().strip()


def test_nothing_that_is_shown_today_is_lost_tomorrow() -> None:
    """Whatever the table says: a program that draws shows fingerings, partials, flags and the cue line."""
    for name in DRAWN:
        ours = count_ours(name)
        for show in SHOWING.values():
            found = show(name)
            for kind in ("fingering", "partial", "crossing", "cue"):
                assert found[kind] == ours[kind], (show.__name__, name, kind)
        there = kept("MuseScore", name)
        for kind in ("fingering", "crossing", "cue"):
            assert there[kind] == ours[kind], (name, kind)


def write_table() -> None:
    path = ROOT / "DEVELOPERS.md"
    text = path.read_text(encoding="utf-8")
    path.write_text(BETWEEN.sub(lambda _: table(), text), encoding="utf-8")


if __name__ == "__main__":
    write_table()
