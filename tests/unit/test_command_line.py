"""The command line: what is written, what is said, and the exit status."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pypdf
import pytest

from tests.unit.parts import NoteText, part_xml
from tests.unit.tunes import demo

GOOD = part_xml([NoteText("C", 0, 5)] * 4, transpose=(2, 4), name="Tromba in E")
OTHER = part_xml([NoteText("G", 0, 4)] * 4, name="Tromba 2")


def crookline(*words: str | Path) -> subprocess.CompletedProcess[str]:
    call = [sys.executable, "-m", "annotator.cli", *map(str, words)]
    return subprocess.run(call, capture_output=True, text=True, check=False, timeout=60)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "one.musicxml").write_bytes(GOOD)
    (tmp_path / "two.xml").write_bytes(OTHER)
    (tmp_path / "bad.musicxml").write_bytes(b"<score-partwise><part-list>")
    return tmp_path


def test_one_file_is_marked_and_stripped_to_what_it_was(folder: Path) -> None:
    out, back = folder / "out.musicxml", folder / "back.musicxml"
    done = crookline("annotate", folder / "one.musicxml", "-o", out, "--report", folder / "one.json")
    assert done.returncode == 0, done.stderr
    assert b"<fingering" in out.read_bytes()
    assert json.loads((folder / "one.json").read_text("utf-8"))["summary"]["notes"] == 4
    assert crookline("strip", out, "-o", back).returncode == 0
    assert back.read_bytes() == GOOD


def test_a_bad_file_is_named_and_the_others_are_delivered(folder: Path) -> None:
    files = [folder / name for name in ("one.musicxml", "bad.musicxml", "two.xml")]
    done = crookline("annotate", *files, "-o", folder / "out")
    assert done.returncode == 1
    assert "bad.musicxml: not well-formed XML" in done.stderr
    assert "Traceback" not in done.stderr
    assert sorted(path.name for path in (folder / "out").iterdir()) == ["one.musicxml", "two.xml"]


@pytest.mark.parametrize(
    "words",
    [
        ["--instrument", "kazoo"],
        ["--instrument", "missing.toml"],
        ["--mark", "colour"],
        ["--show", "never"],
        ["--crook", "Q@3"],
        ["--profile", "wizard"],
        ["--key", "lots"],
        ["--no-such-option"],
    ],
)
def test_wrong_usage_is_said_with_what_would_be_right(folder: Path, words: list[str]) -> None:
    done = crookline("annotate", folder / "one.musicxml", "-o", folder / "out.xml", *words)
    assert done.returncode == 2, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    assert not (folder / "out.xml").exists()


def test_an_input_is_never_written_over(folder: Path) -> None:
    done = crookline("annotate", folder / "one.musicxml", "-o", folder / "one.musicxml")
    assert done.returncode == 2
    assert (folder / "one.musicxml").read_bytes() == GOOD


def test_two_files_of_one_name_are_not_written_over_each_other(folder: Path) -> None:
    (folder / "sub").mkdir()
    (folder / "sub" / "one.musicxml").write_bytes(OTHER)
    files = [folder / "one.musicxml", folder / "sub" / "one.musicxml"]
    done = crookline("annotate", *files, "-o", folder / "out")
    assert done.returncode == 2
    assert "one.musicxml" in done.stderr


def test_into_a_pipe_go_rows_or_json_and_nothing_else(folder: Path) -> None:
    rows = crookline("annotate", folder / "one.musicxml", "-o", folder / "a.xml").stdout.splitlines()
    assert rows[0].split("\t")[:4] == ["file", "part", "crook", "read"]
    assert rows[1].split("\t")[:4] == ["one.musicxml", "Tromba in E", "E", "up a major third"]
    reports = crookline("annotate", folder / "one.musicxml", "-o", folder / "b.xml", "--json").stdout
    assert json.loads(reports)["schema"] == "crookline.report/1"
    assert crookline("annotate", folder / "one.musicxml", "-o", folder / "c.xml", "-q").stdout == ""


def test_the_transposed_part_is_headed_for_the_trumpet_in_hand(folder: Path) -> None:
    out = folder / "in-bb.musicxml"
    done = crookline("transpose", folder / "one.musicxml", "-o", out, "--instrument", "bb-trumpet")
    assert done.returncode == 0, done.stderr
    text = out.read_text("utf-8")
    assert "Trumpet in B♭" in text
    assert "<diatonic>-1</diatonic><chromatic>-2</chromatic>" in text
    assert "<fingering" not in text
    assert crookline("transpose", folder / "one.musicxml", "-o", out, "--mark", "fingering").returncode == 0
    assert "<fingering" in out.read_text("utf-8")


def test_a_trumpet_of_ones_own(folder: Path) -> None:
    import annotator.instruments

    built_in = Path(annotator.instruments.__file__).parent / "d-trumpet.toml"
    own = folder / "mine.toml"
    own.write_text(
        built_in.read_text("utf-8").replace('name = "Trumpet in D"', 'name = "My trumpet"'), "utf-8"
    )
    done = crookline("annotate", folder / "one.musicxml", "-o", folder / "out.xml", "--instrument", own)
    assert done.returncode == 0, done.stderr
    assert "as read on My trumpet" in (folder / "out.xml").read_text("utf-8")
    own.write_text("name = 1\n", "utf-8")
    done = crookline("annotate", folder / "one.musicxml", "-o", folder / "out2.xml", "--instrument", own)
    assert done.returncode == 2
    assert "mine" in done.stderr


@pytest.mark.parametrize("command", ["annotate", "print", "strip", "transpose"])
def test_help_has_an_example_and_fits_eighty_columns(command: str) -> None:
    done = crookline(command, "--help")
    assert done.returncode == 0
    assert f"Example: crookline {command}" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys, annotator.cli as c\n"
        "try: c.crookline(['annotate', '--help'])\n"
        "except SystemExit: pass\n"
        "print([m for m in ('lxml', 'music21', 'numpy', 'flask', 'celery', 'rich') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_is_printed_for_each_shell(shell: str) -> None:
    done = crookline("completion", shell)
    assert done.returncode == 0
    assert "_CROOKLINE_COMPLETE" in done.stdout


def test_a_folder_is_all_the_scores_in_it_and_what_out_is_is_told_by_its_name(folder: Path) -> None:
    tour = folder / "tour"
    (tour / "act 1").mkdir(parents=True)
    shutil.copy(demo("01"), tour / "01.musicxml")
    shutil.copy(demo("08"), tour / "act 1" / "08.mxl")
    (tour / "programme.txt").write_text("no score")
    done = crookline("annotate", tour, "-o", folder / "marked", "-q")
    assert done.returncode == 0, done.stderr
    written = {path.relative_to(folder / "marked").as_posix() for path in (folder / "marked").rglob("*.*")}
    assert written == {"01.musicxml", "act 1/08.mxl"}
    # The same name means the same, whether the folder is there or not.
    for _ in range(2):
        assert crookline("strip", demo("01"), "-o", folder / "plain").returncode == 0
        assert (folder / "plain" / demo("01").name).is_file()
    for words, told in (
        (("annotate", tour, "-o", folder / "one.musicxml"), "name a folder"),
        (("annotate", demo("01"), "-o", folder / "one.pdf"), "crookline print"),
        (("annotate", folder / "plain" / "..", "-o", folder / "x.bin"), "this writes"),
    ):
        refused = crookline(*words)
        assert refused.returncode == 2
        assert told in " ".join(refused.stderr.split())


def test_sheets_are_printed_one_by_one_or_bound_for_a_player(folder: Path) -> None:
    done = crookline(
        *("print", demo("08"), demo("06"), "-o", folder / "desk.pdf", "--together"),
        *("--player", "Second desk", "--size", "large"),
    )
    assert done.returncode == 0, done.stderr
    bound = pypdf.PdfReader(folder / "desk.pdf")
    texts = [page.extract_text() for page in bound.pages]
    assert all("Second desk" in text for text in texts)
    assert (
        crookline("print", demo("08"), "-o", folder / "out" / "8.pdf", "--of", "transposed").returncode == 0
    )
    assert len(bound.pages) > len(pypdf.PdfReader(folder / "out" / "8.pdf").pages)


def test_what_a_written_out_part_was_unsure_of_is_said(folder: Path) -> None:
    part = folder / "odd.musicxml"
    part.write_bytes(GOOD.replace(b"<fifths>0<", b"<fifths>99<"))
    done = crookline("transpose", part, "-o", folder / "out.musicxml")
    assert done.returncode == 0
    assert "odd.musicxml" in done.stderr
    assert "a key signature of '99' fifths is ignored" in done.stderr
    assert crookline("transpose", folder / "one.musicxml", "-o", folder / "out.musicxml").stderr == ""
