"""Odd files, by every way in: refused in words or marked with a finding, and the others are written."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from lxml import etree

import annotator
from annotator.cli import crookline
from annotator.engraving.copy_source import copy_part
from annotator.engraving.copy_source import parse as parse_for_print
from annotator.errors import CrooklineError, UnreadableScore
from annotator.instruments import load
from annotator.score.numbers import DIVISIONS, FIFTHS, STAVES
from annotator.score.source import open_source
from annotator.score.walk import time_of
from annotator.transposed import transposed_part
from tests.unit.odd_files import LENIENT, NOTES, ODD_NOTES, ODD_NUMBERS, PART, REFUSED, STRAY
from tests.unit.parts import part_xml

MARKABLE: Mapping[str, bytes] = {**ODD_NOTES, **LENIENT, **ODD_NUMBERS, **STRAY}
USUAL = annotator.annotate(PART)


def codes(report: Mapping[str, object]) -> set[str]:
    return {each["code"] for each in report["warnings"]}  # type: ignore[attr-defined]


def fingerings(report: dict[str, Any]) -> list[str]:
    lines = report["parts"][0]["lines"]
    return [note["fingering"] for line in lines for note in line["notes"]]


@pytest.mark.parametrize("name", MARKABLE)
def test_what_is_marked_is_stripped_to_what_it_was(name: str) -> None:
    data = MARKABLE[name]
    marked = annotator.annotate(data)
    assert open_source(annotator.strip(marked.data)).text == open_source(data).text
    assert len(marked.data) < 20 * len(data)


@pytest.mark.parametrize("name", ODD_NOTES)
def test_a_pitch_nobody_can_read_is_told_and_never_written_out_as_it_stands(name: str) -> None:
    marked = annotator.annotate(ODD_NOTES[name])
    (told,) = [each for each in marked.report["warnings"] if each["code"] == "unreadable-pitch"]
    assert (told["part"], told["measure"]) in {("P1", "1"), ("P1", "2"), ("P1", "3")}
    # The others are marked as ever, and the cue line keeps its time.
    assert len(fingerings(marked.report)) == len(NOTES) - 1
    cue = marked.data.partition(b'<part id="P1-cue">')[2]
    assert cue.count(b"<duration>") == len(NOTES)
    with pytest.raises(UnreadableScore, match="cannot be written out"):
        transposed_part(ODD_NOTES[name])


@pytest.mark.parametrize("name", [name for name in LENIENT if name != "alter empty"])
def test_a_pitch_written_oddly_is_what_it_can_only_mean(name: str) -> None:
    marked = annotator.annotate(LENIENT[name])
    assert fingerings(marked.report) == fingerings(USUAL.report)
    assert codes(marked.report) == codes(USUAL.report)


@pytest.mark.parametrize("name", ODD_NUMBERS)
def test_numbers_that_no_music_has_are_told(name: str) -> None:
    marked = annotator.annotate(ODD_NUMBERS[name])
    assert codes(marked.report) & {"key", "number", "divisions", "time", "transpose"}
    assert transposed_part(ODD_NUMBERS[name])


@pytest.mark.parametrize("name", REFUSED)
def test_what_nothing_can_be_made_of_is_refused_in_words(name: str) -> None:
    with pytest.raises(CrooklineError) as refusal:
        annotator.annotate(REFUSED[name])
    assert len(str(refusal.value)) < 300
    with pytest.raises(CrooklineError):
        transposed_part(REFUSED[name])


def test_a_wrong_declaration_is_told_and_the_file_read() -> None:
    data = PART.replace(b'encoding="UTF-8"', b'encoding="UTF-16"').replace(b"Tromba", "Trömbä".encode())
    marked = annotator.annotate(data, annotator.Options(part=("P1",)))
    assert "encoding" in codes(marked.report)
    assert annotator.strip(marked.data) == data
    assert marked.report["parts"][0]["name"] == "Trömbä in E"


@pytest.mark.parametrize("encoding", ["utf-32", "utf-16-le", "iso-8859-15", "cp1252", "koi8-r", "shift_jis"])
def test_files_in_the_world_s_encodings_are_read(encoding: str) -> None:
    data = part_xml(NOTES, name="Tromba in E", encoding=encoding)
    if encoding == "utf-16-le":
        data = b"\xff\xfe" + data
    assert annotator.strip(annotator.annotate(data).data) == data


COMMANDS: Mapping[str, list[str]] = {
    "annotate": ["annotate", "-o", "out"],
    "transpose": ["transpose", "-o", "out"],
    "strip": ["strip", "-o", "out"],
    "exercises": ["exercises", "-o", "out"],
}


@pytest.mark.parametrize("command", COMMANDS)
def test_in_a_batch_the_others_are_written(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    odd = {**MARKABLE, **{name: data for name, data in REFUSED.items() if len(data) < 1_000_000}}
    files = []
    for number, data in enumerate(odd.values()):
        files.append(f"{number}.{'mxl' if data.startswith(b'PK') else 'musicxml'}")
        Path(files[-1]).write_bytes(data)
    good = Path("good.musicxml")
    good.write_bytes(PART)
    call = COMMANDS[command]
    done = CliRunner().invoke(crookline, [call[0], *files, str(good), *call[1:]])
    assert done.exit_code == 1, done.output
    assert "fault in the program" not in done.stderr
    told = done.stderr.splitlines()
    written = {path.name for path in Path("out").iterdir()} if Path("out").is_dir() else set()
    stems = {name.partition(".")[0] for name in written}
    failed = {line.partition(".")[0] for line in told}
    assert stems | failed == {name.partition(".")[0] for name in files} | {"good"}
    assert command == "exercises" or "good" in stems


def test_a_plan_goes_on_without_the_odd_ones(tmp_path: Path) -> None:
    for number, data in enumerate({**MARKABLE, **REFUSED}.values()):
        if len(data) < 1_000_000:
            suffix = "mxl" if data.startswith(b"PK") else "musicxml"
            (tmp_path / f"{number}.{suffix}").write_bytes(data)
    (tmp_path / "good.musicxml").write_bytes(PART)
    done = CliRunner().invoke(crookline, ["plan", str(tmp_path)])
    assert "fault in the program" not in done.stderr
    assert "good" in done.stdout


def test_a_fault_of_ours_costs_one_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = annotator.annotation.annotate

    def faulty(data: bytes, options: annotator.Options, name: str) -> annotator.Annotated:
        if name == "1.musicxml":
            raise KeyError("nobody thought of this")
        return real(data, options, name)

    monkeypatch.setattr("annotator.annotation.annotate", faulty)
    files = [tmp_path / f"{number}.musicxml" for number in range(3)]
    for file in files:
        file.write_bytes(PART)
    done = CliRunner().invoke(crookline, ["annotate", *map(str, files), "-o", str(tmp_path / "out")])
    assert done.exit_code == 1
    assert "1.musicxml: a fault in the program (KeyError" in done.stderr
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["0.musicxml", "2.musicxml"]


def test_the_report_and_the_file_stay_within_a_multiple_of_the_input() -> None:
    instrument = load("c-trumpet")
    long = part_xml(NOTES * 40, transpose=(2, 4), name="Tromba in E").replace(
        b'number="1"', b'number="' + b"1" * 20_000 + b'"'
    )
    marked = annotator.annotate(long, annotator.Options(instrument=instrument))
    assert len(marked.data) + len(str(marked.report)) < 40 * len(long)


@pytest.mark.parametrize("name", ODD_NUMBERS)
def test_numbers_that_no_music_has_never_reach_the_engraver(name: str) -> None:
    # Some of them end the process the engraver runs in, which no test could tell of.
    root = parse_for_print(ODD_NUMBERS[name])
    part = root.find("part")
    copy = etree.fromstring(copy_part(root, part.get("id")).xml)
    held = {"staff": STAVES, "staves": STAVES, "fifths": FIFTHS, "divisions": DIVISIONS}
    for element in copy.iter(*held):
        assert held[str(element.tag)].has(float(element.text or "nan"))
    assert all(time_of(element) is not None for element in copy.iter("time"))
