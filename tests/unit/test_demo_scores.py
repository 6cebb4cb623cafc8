"""The demo scores are what demo_scores/README.md says: valid, complete bars, right crooks, right spelling."""

import re
import zipfile
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from math import log2
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from tests.musicxml_schema import schema_errors

DEMO = Path(__file__).resolve().parents[2] / "demo_scores"
FILES = sorted(p.name for p in DEMO.iterdir() if p.suffix in {".musicxml", ".xml", ".mxl"})
STEP_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
SHARP_ORDER = "FCGDAEB"
ACCIDENTAL_ALTER = {"sharp": 1, "flat": -1, "natural": 0, "double-sharp": 2, "flat-flat": -2}


@cache
def raw(name: str) -> bytes:
    """The MusicXML bytes of a demo file, unpacked where it is compressed."""
    path = DEMO / name
    if path.suffix != ".mxl":
        return path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        container = etree.fromstring(archive.read("META-INF/container.xml"))
        rootfile = container.find("rootfiles/rootfile")
        assert rootfile is not None
        return archive.read(str(rootfile.get("full-path")))


@cache
def root(name: str) -> Any:
    return etree.fromstring(raw(name), etree.XMLParser(no_network=True, load_dtd=False))


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the README's table: a part of a file."""

    file: str
    part: str
    crook: str
    steps: str
    measures: int
    notes: int


def readme_rows() -> list[Row]:
    rows: list[Row] = []
    table = re.findall(r"^\|([^|]*)\|([^|]+)\|([^|]+)\|([^|]+)\| *(\d+) *\| *(\d+) *\|$", readme(), re.M)
    for file, part, crook, steps, measures, notes in table:
        name = file.strip().strip("`") or rows[-1].file
        rows.append(Row(name, part.strip(), crook.strip(), steps.strip(), int(measures), int(notes)))
    return rows


def readme() -> str:
    return (DEMO / "README.md").read_text(encoding="utf-8")


ROWS = readme_rows()


def part_of(row: Row) -> Any:
    """The `<part>` element whose `<part-name>` the row gives."""
    tree = root(row.file)
    ids = [p.get("id") for p in tree.iter("score-part") if p.findtext("part-name") == row.part]
    assert len(ids) == 1, f"{row.file}: {len(ids)} parts are named {row.part!r}"
    return tree.find(f"part[@id='{ids[0]}']")


def midi(note: Any) -> int:
    """Semitone number of a note's written pitch, middle C (C4) = 60."""
    pitch = note.find("pitch")
    step, octave = pitch.findtext("step"), int(pitch.findtext("octave"))
    return STEP_SEMITONES[step] + int(pitch.findtext("alter") or 0) + 12 * (octave + 1)


def texts(tree: Any, path: str) -> list[str]:
    return [element.text or "" for element in tree.iterfind(path)]


def test_every_file_is_in_the_readme_and_the_other_way_round() -> None:
    assert {row.file for row in ROWS} == set(FILES)
    for name in FILES:
        parts = [p.findtext("part-name") for p in root(name).iter("score-part")]
        assert parts == [row.part for row in ROWS if row.file == name]


@pytest.mark.parametrize("name", FILES)
def test_valid_musicxml(name: str) -> None:
    """Against the MusicXML 4.0 XSD (W3C Music Notation Community Group; see tests/musicxml_schema.py)."""
    assert schema_errors(raw(name)) == []
    assert root(name).get("version") == "4.0"
    head = raw(name)[:1200]
    text = head.decode("utf-16") if head.startswith(b"\xff\xfe") else head.decode("utf-8-sig", "ignore")
    assert text.startswith("<?xml version=")
    assert "<!DOCTYPE score-partwise PUBLIC" in text


@pytest.mark.parametrize("name", FILES)
def test_identification_says_it_is_ours(name: str) -> None:
    tree = root(name)
    assert texts(tree, "identification/encoding/software") == ["Crookline demo scenario"]
    assert "Composed for Crookline" in (tree.findtext("identification/rights") or "")
    composer = tree.findtext("identification/creator[@type='composer']")
    assert composer in readme()
    assert (tree.findtext("work/work-title") or "")[:8] in readme()


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.file[:2]} {row.part}")
def test_counts_of_the_readme(row: Row) -> None:
    part = part_of(row)
    assert len(part.findall("measure")) == row.measures
    assert len(part.findall("measure/note/pitch")) == row.notes
    numbers = [measure.get("number") for measure in part.iterfind("measure")]
    first = 0 if part.find("measure").get("implicit") == "yes" else 1
    assert numbers == [str(n) for n in range(first, first + row.measures)]


def signed(text: str) -> tuple[int, int]:
    diatonic, chromatic = (int(n.replace("−", "-")) for n in text.split(","))
    return diatonic, chromatic


def said_changes(row: Row) -> list[tuple[str, str, tuple[int, int]]]:
    """(measure, crook, (diatonic, chromatic)) for each crook of the row, in order."""
    if row.steps == "–":
        return []
    crooks = row.crook.split(", from measure ")
    steps = row.steps.split(", from measure ")
    found = [("", crooks[0], signed(steps[0]))]
    for crook, step in zip(crooks[1:], steps[1:], strict=True):
        measure, new = crook.split(" ", 1)
        same, move = step.split(" ", 1)
        assert measure == same
        found.append((measure, new, signed(move)))
    return found


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.file[:2]} {row.part}")
def test_transposition_of_the_readme(row: Row) -> None:
    part = part_of(row)
    found = [
        (
            measure.get("number"),
            (int(transpose.findtext("diatonic")), int(transpose.findtext("chromatic"))),
        )
        for measure in part.iterfind("measure")
        for transpose in measure.iterfind("attributes/transpose")
    ]
    said = said_changes(row)
    assert [steps for _, steps in found] == [steps for _, _, steps in said]
    assert [measure for measure, _ in found[1:]] == [measure for measure, _, _ in said[1:]]


@pytest.mark.parametrize("row", [r for r in ROWS if r.steps != "–"], ids=lambda r: f"{r.file[:2]} {r.part}")
def test_crook_and_transposition_agree(row: Row) -> None:
    """The interval from C4 to the pitch a written C4 sounds, by music21's interval arithmetic.

    Which octave a crook sounds in is common practice, no source: A and B♭ below C, the others above, the
    piccolo an octave above the low crook of its name, the horn in F below.
    """
    from music21 import interval, pitch

    octaves = {"A": 3, "B♭": 3, "horn F": 3}
    for _, crook, (diatonic, chromatic) in said_changes(row):
        letter = crook.split()[-1].replace("♭", "-")
        sounding = pitch.Pitch(f"{letter}{octaves.get(crook, 4)}")
        step = interval.Interval(pitch.Pitch("C4"), sounding)
        moved = step.generic.staffDistance if step.generic is not None else None
        assert (moved, step.chromatic.semitones if step.chromatic else None) == (diatonic, chromatic)


def voice_lengths(measure: Any, divisions: int) -> dict[str, Fraction]:
    """Quarter notes each voice fills, gaps and overlaps refused."""
    at = Fraction(0)
    ends: dict[str, Fraction] = defaultdict(Fraction)
    for element in measure:
        if element.tag in {"backup", "forward"}:
            step = Fraction(int(element.findtext("duration")), divisions)
            at += step if element.tag == "forward" else -step
        elif element.tag == "note" and element.find("chord") is None and element.find("grace") is None:
            voice = element.findtext("voice") or ""
            assert ends[voice] == at, f"measure {measure.get('number')}, voice {voice}: gap or overlap"
            at += Fraction(int(element.findtext("duration")), divisions)
            ends[voice] = at
    return dict(ends)


@pytest.mark.parametrize("name", FILES)
def test_measures_add_up(name: str) -> None:
    for part in root(name).iterfind("part"):
        divisions, full = 0, Fraction(0)
        for measure in part.iterfind("measure"):
            for attributes in measure.iterfind("attributes"):
                divisions = int(attributes.findtext("divisions") or divisions)
                if (time := attributes.find("time")) is not None:
                    full = Fraction(4 * int(time.findtext("beats")), int(time.findtext("beat-type")))
            lengths = voice_lengths(measure, divisions)
            assert lengths, f"{name}: measure {measure.get('number')} is empty"
            if measure.get("implicit") == "yes":
                assert max(lengths.values()) < full
            else:
                assert set(lengths.values()) == {full}, f"{name}: measure {measure.get('number')}"


@pytest.mark.parametrize("name", FILES)
def test_music21_reads_the_same_notes(name: str) -> None:
    """music21 as an outside reader: complete bars, the same pitches in number, no pitch lost."""
    from music21 import converter

    score: Any = converter.parse(str(DEMO / name), forceSource=True)
    for measure in score.recurse().getElementsByClass("Measure"):
        if measure.number:
            assert measure.duration.quarterLength == measure.barDuration.quarterLength
    heard = Counter(p.midi for element in score.recurse().notes for p in element.pitches)
    assert heard == Counter(midi(note) for note in root(name).iterfind("part/measure/note[pitch]"))


@pytest.mark.parametrize("name", FILES)
def test_printed_accidentals_give_the_pitches(name: str) -> None:
    """Reading the page as a player does: key, accidentals of the bar, ties; the result is `<alter>`."""
    for part in root(name).iterfind("part"):
        key: dict[str, int] = {}
        tied: set[tuple[str, str, str]] = set()
        for measure in part.iterfind("measure"):
            bar: dict[tuple[str, str], int] = {}
            for element in measure:
                if element.tag == "attributes" and (fifths := element.findtext("key/fifths")) is not None:
                    count = int(fifths)
                    letters = SHARP_ORDER[:count] if count > 0 else SHARP_ORDER[::-1][:-count]
                    key = dict.fromkeys(letters, 1 if count > 0 else -1)
                if element.tag != "note" or element.find("pitch") is None:
                    continue
                step, octave = element.findtext("pitch/step"), element.findtext("pitch/octave")
                alter = int(element.findtext("pitch/alter") or 0)
                printed = element.findtext("accidental")
                place = (element.findtext("voice"), step, octave)
                if printed is not None:
                    bar[step, octave] = ACCIDENTAL_ALTER[printed]
                if place in tied and (step, octave) not in bar:
                    assert element.find("tie[@type='stop']") is not None
                else:
                    read = bar.get((step, octave), key.get(step, 0))
                    assert read == alter, f"{name}: measure {measure.get('number')}, {step}{octave}"
                tied.discard(place)
                if element.find("tie[@type='start']") is not None:
                    tied.add(place)
        assert not tied


@pytest.mark.parametrize("name", FILES)
def test_lines_that_start_also_stop(name: str) -> None:
    for part in root(name).iterfind("part"):
        for tag in ("slur", "tied", "tie", "tuplet", "wavy-line", "octave-shift", "wedge"):
            kinds = Counter(element.get("type") for element in part.iter(tag))
            stops = kinds.pop("stop", 0)
            assert stops == sum(kinds.values()), f"{name}: {tag}"
        for level in "12":
            beams = Counter(beam.text for beam in part.iterfind(f"measure/note/beam[@number='{level}']"))
            assert beams["begin"] == beams["end"]


def natural_semitones() -> set[int]:
    """Semitones above partial 1 that a natural trumpet plays, as 1200·log2(n) cents rounded, n = 2…16.

    n = 7 counts as the minor seventh, 11 as the fourth or the tritone, 13 as the sixth: common practice, no
    source; 14 is n = 7 an octave up.
    """
    usable = {round(12 * log2(n)) for n in range(2, 17) if n not in {7, 11, 13, 14}}
    return usable | {24 + 10, 36 + 10, 36 + 5, 36 + 6, 36 + 9}


@pytest.mark.parametrize(
    ("name", "fundamental"),
    [
        ("01_weir_keeper_overture_trumpet_1_in_E.musicxml", 36),  # written C2
        ("05_launching_march_trumpets_1_2_in_D.musicxml", 36),
        ("11_sonneries_trompette_en_re.musicxml", 36),
        ("10_tower_sonata_trumpet_1.musicxml", 38),  # sounding D2
    ],
)
def test_old_parts_keep_to_the_natural_series(name: str, fundamental: int) -> None:
    notes = root(name).xpath("part/measure/note[pitch and not(cue)]")
    strange = [midi(note) for note in notes if midi(note) - fundamental not in natural_semitones()]
    assert strange == []


def test_modern_parts_leave_the_natural_series() -> None:
    for name in FILES:
        if name[:2] in {"02", "03", "04", "06", "08", "09"}:
            notes = root(name).xpath("part/measure/note[pitch and not(cue)]")
            assert any(midi(note) - 36 not in natural_semitones() for note in notes), name


def test_the_change_of_crook_is_announced_in_rests() -> None:
    part = root("02_sinfonia_drammatica_finale_trumpet_1_in_F_and_C.musicxml").find("part")
    measures = part.findall("measure")
    said = next(n for n, m in enumerate(measures) if any("muta in C" in t for t in texts(m, ".//words")))
    new = next(n for n, m in enumerate(measures) if n and m.find("attributes/transpose") is not None)
    assert new - said == 13
    assert not any(measure.findall("note/pitch") for measure in measures[said:new])
    assert measures[new].find("note/pitch") is not None
    used = [note.get("id") for note in measures[new].iterfind("note/instrument")]
    assert set(used) == {"P1-I2"}


def headings(name: str) -> Iterator[str]:
    for credit in root(name).iterfind("credit"):
        if credit.findtext("credit-type") == "part name":
            yield credit.findtext("credit-words")


@pytest.mark.parametrize(
    ("prefix", "heading"),
    [
        ("01", "Trumpet I in E"),
        ("02", "Trumpet 1 in F"),
        ("03", "Trumpet 2 in B♭"),
        ("04", "Piccolo Trumpet in A"),
        ("05", "Trumpets 1, 2 in D"),
        ("06", "B♭ Trumpet"),
        ("08", "Trompete in A"),
        ("09", "Tromba 1ª in Mi♭"),
    ],
)
def test_heading_on_the_page(prefix: str, heading: str) -> None:
    name = next(n for n in FILES if n.startswith(prefix))
    assert list(headings(name)) == [heading]


@pytest.mark.parametrize(
    ("prefix", "path"),
    [
        ("01", ".//measure-style/multiple-rest"),
        ("01", ".//rehearsal[.='H']"),
        ("01", ".//note[cue]"),
        ("02", ".//note/notations/tuplet"),
        ("03", ".//measure[@implicit='yes']"),
        ("03", ".//trill-mark"),
        ("03", ".//part-name-display/accidental-text"),
        ("03", ".//measure[@number='53']/attributes[key and time]"),
        ("04", ".//sound[@dacapo='yes']"),
        ("04", ".//sound[@fine='yes']"),
        ("04", ".//note[cue]/lyric"),
        ("04", ".//fermata"),
        ("05", ".//note/chord"),
        ("05", ".//backup"),
        ("05", ".//repeat[@direction='forward']"),
        ("05", ".//ending[@number='2'][@type='start']"),
        ("06", ".//octave-shift[@type='down']"),
        ("06", ".//note[grace]"),
        ("06", ".//breath-mark"),
        ("06", ".//time-modification[actual-notes='5']"),
        ("06", ".//metronome/per-minute"),
        ("07", ".//part-group/group-symbol[.='bracket']"),
        ("07", ".//instrument-sound[.='drum.timpani']"),
        ("08", ".//tied[@type='start']"),
        ("09", ".//sound[@dalsegno]"),
        ("09", ".//sound[@tocoda]"),
        ("09", ".//wedge[@type='crescendo']"),
    ],
)
def test_has_what_the_readme_names(prefix: str, path: str) -> None:
    name = next(n for n in FILES if n.startswith(prefix))
    assert root(name).xpath(path), f"{name} has no {path}"


def test_layout_as_notation_programs_write_it() -> None:
    """Real files come with layout; the two plain ones come without."""
    for name in FILES:
        tree = root(name)
        plain = name[:2] in {"10", "11"}
        assert (tree.find("defaults/page-layout") is None) == plain
        assert (not tree.xpath("part/measure/print[@new-system='yes']")) == plain
        assert (not tree.xpath("part/measure[@width]")) == plain
        assert (not tree.xpath("part/measure/note[@default-x]")) == plain
        assert (tree.find(".//clef") is None) == name.startswith("11")


def test_encodings_vary() -> None:
    by_number = {name[:2]: raw(name) for name in FILES}
    assert by_number["09"].startswith(b"\xff\xfe")
    assert "Mi♭" in by_number["09"].decode("utf-16")
    assert by_number["11"].startswith(b"\xef\xbb\xbf")
    lines = by_number["10"].split(b"\n")
    assert all(line.endswith(b"\r") for line in lines[:-1])
    assert b"\n  " not in by_number["08"]


def test_compressed_file_is_packed_as_the_standard_asks() -> None:
    """MusicXML 4.0, "Compressed .MXL files": mimetype first and stored, a container that names the root."""
    with zipfile.ZipFile(DEMO / "08_abendmusik_trompete_in_A.mxl") as archive:
        first = archive.infolist()[0]
        assert (first.filename, first.compress_type) == ("mimetype", zipfile.ZIP_STORED)
        assert archive.read("mimetype") == b"application/vnd.recordare.musicxml"
        container = etree.fromstring(archive.read("META-INF/container.xml"))
        assert container.xpath("string(rootfiles/rootfile/@media-type)") == (
            "application/vnd.recordare.musicxml+xml"
        )
