"""What is written is written whole or not at all, by the function and by every command that writes."""

from __future__ import annotations

import os
import stat
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

import annotator
from annotator.cli import crookline
from annotator.hotfolder import RECORD, HotFolder
from annotator.whole_files import write_whole
from tests.unit.parts import NoteText, part_xml

QUICK = '<sound tempo="200"/>'
PART = part_xml(
    [NoteText("B", 0, 4, lead=QUICK), NoteText("C", 1, 5)] * 8, transpose=(2, 4), name="Tromba in E"
)
MARKED = annotator.annotate(PART).data


def everything(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def full_disk(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A disk that has room for ten more bytes of a file, and then none."""
    real = os.write

    def write(descriptor: int, data: bytes) -> int:
        if stat.S_ISREG(os.fstat(descriptor).st_mode):
            if os.fstat(descriptor).st_size >= 10:
                raise OSError(28, "No space left on device")
            return real(descriptor, data[:10])
        return real(descriptor, data)

    monkeypatch.setattr(os, "write", write)
    yield
    monkeypatch.undo()


def test_pieces_end_to_end_in_folders_that_are_made(tmp_path: Path) -> None:
    target = tmp_path / "a" / "b" / ("ä" * 120)
    write_whole(target, b"one", b"", b"two")
    assert target.read_bytes() == b"onetwo"
    write_whole(target, b"three")
    assert target.read_bytes() == b"three"
    assert len(everything(tmp_path)) == 1


@pytest.mark.usefixtures("full_disk")
def test_a_write_that_fails_leaves_what_was_there_and_nothing_else(tmp_path: Path) -> None:
    target = tmp_path / "part.musicxml"
    with pytest.raises(OSError, match="No space"):
        write_whole(target, b"x" * 11)
    assert not everything(tmp_path)
    target.touch()
    with pytest.raises(OSError, match="No space"):
        write_whole(target, b"x" * 11)
    assert target.read_bytes() == b""
    assert everything(tmp_path) == {"part.musicxml"}


def test_who_reads_meanwhile_sees_the_old_or_the_new(tmp_path: Path) -> None:
    target = tmp_path / "part"
    versions = {bytes([letter]) * 200_000 for letter in b"abc"}
    write_whole(target, b"a" * 200_000)
    over = threading.Event()

    def write() -> None:
        for _ in range(20):
            for version in versions:
                write_whole(target, *(version[start : start + 50_000] for start in range(0, 200_000, 50_000)))
        over.set()

    writer = threading.Thread(target=write)
    writer.start()
    while not over.is_set():
        assert target.read_bytes() in versions
    writer.join()


@pytest.mark.parametrize(
    "words",
    [
        ["annotate", "part.musicxml", "-o", "out.musicxml"],
        ["annotate", "part.musicxml", "-o", "else.musicxml", "--report", "out.json"],
        ["transpose", "part.musicxml", "-o", "out.musicxml"],
        ["strip", "marked.musicxml", "-o", "out.musicxml"],
        ["exercises", "part.musicxml", "-o", "out.musicxml"],
    ],
)
@pytest.mark.parametrize("there", [b"", b"kept"])
def test_a_command_whose_disk_is_full_leaves_no_half_file(
    words: list[str],
    there: bytes,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    request: pytest.FixtureRequest,
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("part.musicxml").write_bytes(PART)
    Path("marked.musicxml").write_bytes(MARKED)
    target = Path(words[-1])
    if there:
        target.write_bytes(there)
    before = everything(tmp_path)
    request.getfixturevalue("full_disk")
    done = CliRunner().invoke(crookline, words)
    assert done.exit_code == 1
    assert "No space left on device" in done.stderr
    assert everything(tmp_path) == before
    assert not there or target.read_bytes() == there


def test_the_watch_leaves_no_half_file_and_goes_on(tmp_path: Path, request: pytest.FixtureRequest) -> None:
    (tmp_path / "in").mkdir()
    for name in ("one.musicxml", "two.musicxml"):
        (tmp_path / "in" / name).write_bytes(PART)
    request.getfixturevalue("full_disk")
    done = list(HotFolder(tmp_path / "in", tmp_path / "out", annotator.Options(), settle=0).look())
    assert [each.name for each in done] == ["one.musicxml", "two.musicxml"]
    assert all("No space left on device" in each.reason for each in done)
    assert everything(tmp_path / "out") <= {RECORD}
