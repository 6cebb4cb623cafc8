"""``crookline chart`` and ``crookline exercises`` as a user calls them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from lxml import etree

from annotator.chart.chart import rows
from annotator.cli import crookline
from annotator.instruments import load
from tests.unit.tunes import demo, note, tune

OWN = """
name = "Trumpet in H"
key = "H"
[transposition]
diatonic = -1
chromatic = -1
[valves]
semitones = [2, 1, 3]
[partials]
usable = [2, 3, 4, 5, 6, 8]
[range]
low = "F#3"
high = "C6"
"""


def run(*arguments: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(crookline, list(arguments))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


def test_the_chart_is_printed_and_is_json_when_asked() -> None:
    status, shown, _ = run("chart", "--instrument", "bb-trumpet")
    assert status == 0
    assert shown.startswith("Fingering chart: Trumpet in B♭")
    assert max(map(len, shown.splitlines())) < 80
    status, said, _ = run("chart", "--json")
    values = json.loads(said)
    assert values["rows"] == json.loads(json.dumps(rows(load("c-trumpet"))))


@pytest.mark.parametrize(
    ("ending", "start"), [("svg", b"<svg"), ("pdf", b"%PDF"), ("txt", b"Fingering"), ("json", b"{")]
)
def test_the_ending_of_the_file_says_what_the_chart_becomes(
    tmp_path: Path, ending: str, start: bytes
) -> None:
    target = tmp_path / f"chart.{ending}"
    assert run("chart", "-o", str(target))[0] == 0
    assert target.read_bytes().startswith(start)


def test_a_chart_of_ones_own_instrument(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(OWN, encoding="utf-8")
    status, shown, _ = run("chart", "--instrument", str(own))
    assert status == 0
    assert "Trumpet in H" in shown


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--instrument", "ophicleide"), "no instrument"),
        (("-o", "chart.doc"), "ending"),
        (("--json", "-o", "chart.svg"), "--json"),
        (("--paper", "napkin"), "no paper"),
    ],
)
def test_wrong_usage_of_the_chart_is_said(arguments: tuple[str, ...], said: str) -> None:
    status, _, error = run("chart", *arguments)
    assert status == 2
    assert said in error


def test_exercises_of_several_files_go_into_a_folder(tmp_path: Path) -> None:
    status, _, error = run("exercises", str(demo("08")), str(demo("09")), "-o", str(tmp_path / "out"))
    assert (status, error) == (0, "")
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert names == [f"{demo('08').stem}.musicxml", f"{demo('09').stem}.musicxml"]
    for path in (tmp_path / "out").iterdir():
        assert etree.fromstring(path.read_bytes()).tag == "score-partwise"


def test_exercises_are_as_read_on_the_instrument_named(tmp_path: Path) -> None:
    target = tmp_path / "out.musicxml"
    assert run("exercises", str(demo("06")), "-o", str(target), "--instrument", "bb-trumpet")[0] == 0
    root = etree.fromstring(target.read_bytes())
    assert root.findtext("part-list/score-part/part-name") == "Trumpet in B♭"
    assert root.findtext("part/measure/attributes/transpose/chromatic") == "-2"


def test_a_part_without_anything_to_practise_fails_by_name_and_the_others_are_written(tmp_path: Path) -> None:
    slow = tmp_path / "slow.musicxml"
    slow.write_bytes(tune(note("C5", 4), measures=3))
    out = tmp_path / "out"
    status, _, error = run("exercises", str(slow), str(demo("06")), "-o", f"{out}/")
    assert status == 1
    assert "slow.musicxml" in error
    assert "no crossing" in error
    assert [path.name for path in out.iterdir()] == [demo("06").name]


def test_a_compressed_sheet_is_refused_before_anything_is_done(tmp_path: Path) -> None:
    status, _, error = run("exercises", str(demo("06")), "-o", str(tmp_path / "out.mxl"))
    assert status == 2
    assert ".musicxml" in error
