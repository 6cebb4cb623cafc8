"""The watched folder: each score once, when it is whole, over restarts too."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import annotator
from annotator.hotfolder import RECORD, HotFolder
from tests.service.scores import BAD_SCORE, mxl, score


@pytest.fixture
def folders(tmp_path: Path) -> tuple[Path, Path]:
    """IN and OUT."""
    (tmp_path / "in").mkdir()
    return tmp_path / "in", tmp_path / "out"


def watched(folders: tuple[Path, Path], settle: float = 0.0, **options: str) -> HotFolder:
    """A watch over the two folders."""
    return HotFolder(*folders, annotator.Options(**options), settle)  # type: ignore[arg-type]


def looked(folder: HotFolder) -> list[tuple[str, bool]]:
    """What one look deals with: names, and whether it went well."""
    return [(done.name, not done.reason) for done in folder.look()]


def test_scores_are_marked_and_bad_ones_get_a_note(folders: tuple[Path, Path]) -> None:
    source, target = folders
    (source / "acts").mkdir()
    (source / "acts" / "tromba.musicxml").write_bytes(score("E"))
    (source / "tromba.mxl").write_bytes(mxl(score("F")))
    (source / "bad.xml").write_bytes(BAD_SCORE)
    (source / "letter.txt").write_text("not a score")
    assert looked(watched(folders)) == [
        ("acts/tromba.musicxml", True),
        ("bad.xml", False),
        ("tromba.mxl", True),
    ]
    assert annotator.strip((target / "acts" / "tromba.musicxml").read_bytes()) == score("E")
    assert json.loads((target / "tromba.mxl.report.json").read_text())["schema"] == "crookline.report/1"
    assert (target / "bad.xml.failed").read_text().startswith("bad.xml: ")
    assert not (target / "bad.xml").exists()
    assert not list(target.rglob("*.partial"))


def test_a_file_is_left_alone_while_it_grows(folders: tuple[Path, Path]) -> None:
    source, target = folders
    folder = watched(folders, settle=0.15)
    data = score("F")
    with (source / "slow.xml").open("wb") as stream:
        for start in range(0, len(data), 200):
            stream.write(data[start : start + 200])
            stream.flush()
            assert looked(folder) == []
            time.sleep(0.02)
    while folder.waiting:
        looked(folder)
        time.sleep(0.01)
    assert annotator.strip((target / "slow.xml").read_bytes()) == data


def test_finished_work_is_not_done_again(folders: tuple[Path, Path]) -> None:
    source, target = folders
    (source / "a.xml").write_bytes(score("F"))
    (source / "bad.xml").write_bytes(BAD_SCORE)
    assert len(looked(watched(folders))) == 2
    (target / "a.xml").unlink()  # taken away by whoever works on it
    assert looked(watched(folders)) == []
    os.utime(source / "a.xml")  # only touched
    assert looked(watched(folders)) == []
    (source / "a.xml").write_bytes(score("E"))
    assert looked(watched(folders)) == [("a.xml", True)]
    assert looked(watched(folders, instrument="bb-trumpet")) == [("a.xml", True), ("bad.xml", False)]


def test_a_bad_file_put_right_loses_its_note(folders: tuple[Path, Path]) -> None:
    source, target = folders
    folder = watched(folders)
    (source / "a.xml").write_bytes(BAD_SCORE)
    assert looked(folder) == [("a.xml", False)]
    (source / "a.xml").write_bytes(score("F"))
    assert looked(folder) == [("a.xml", True)]
    assert not (target / "a.xml.failed").exists()


def test_a_record_broken_off_costs_one_file(folders: tuple[Path, Path]) -> None:
    source, target = folders
    for name in ("a.xml", "b.xml"):
        (source / name).write_bytes(score("F"))
    looked(watched(folders))
    record = (target / RECORD).read_text()
    (target / RECORD).write_text(record[:-30])
    assert looked(watched(folders)) == [("b.xml", True)]
    assert looked(watched(folders)) == []


def test_results_below_the_watched_folder_are_not_taken_for_input(folders: tuple[Path, Path]) -> None:
    source, _ = folders
    (source / "a.xml").write_bytes(score("F"))
    inside = (source, source / "marked")
    assert looked(watched(inside)) == [("a.xml", True)]
    assert looked(watched(inside)) == []


def test_the_command_stops_when_asked_and_goes_on_when_started_again(folders: tuple[Path, Path]) -> None:
    source, target = folders
    code = "from annotator.cli import main; main()"
    command = [sys.executable, "-c", code, "watch", str(source), str(target), "--settle", "0.05"]
    for name in ("a.xml", "b.xml"):
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert process.stdout is not None
        assert "Watching" in process.stdout.readline()
        (source / name).write_bytes(score("F"))
        assert process.stdout.readline() == f"marked {name}\n"
        process.send_signal(signal.SIGTERM)
        assert process.wait(20) == 0
        assert process.stdout.read() == ""
    once = subprocess.run([*command, "--once"], capture_output=True, text=True, check=False)
    assert once.returncode == 0
    (source / "bad.xml").write_bytes(BAD_SCORE)
    once = subprocess.run([*command, "--once"], capture_output=True, text=True, check=False)
    assert once.returncode == 1
    assert "failed bad.xml" in once.stdout
