"""Any file people have: opened as MusicXML, or sent back with what to do."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from annotator.errors import UnreadableScore
from annotator.importing import editor
from annotator.importing.opening import IMPORTED, NATIVE, TAKEN, is_imported, no_score, open_score
from tests.unit.parts import NoteText, part_xml
from workers.intake import take_in
from workers.jobs import Part
from workers.settings import Settings

SCORE = part_xml([NoteText("C", 0, 5)])


def put_on_path(folder: Path, script: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """An editor of that behaviour on the PATH, and no other."""
    command = folder / "mscore"
    command.write_text(f"#!/bin/sh\n{script}\n")
    command.chmod(0o755)
    (folder / "score").write_bytes(SCORE)
    monkeypatch.setenv("PATH", f"{folder}{os.pathsep}/bin")
    monkeypatch.setattr(editor, "COMMANDS", ("mscore",))


@pytest.mark.parametrize("suffix", editor.SUFFIXES)
def test_an_editors_own_file_is_brought_over_by_the_editor(
    suffix: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_on_path(tmp_path, f'test "$QT_QPA_PLATFORM" = offscreen && cp {tmp_path}/score "$2"', monkeypatch)
    assert open_score(b"anything", f"part{suffix}") == (SCORE, ())


def test_without_the_editor_it_is_said_how_to_export(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(UnreadableScore, match=r"part\.mscz .* choose File, Export, MusicXML"):
        open_score(b"PK", "part.mscz")


def test_an_editor_that_fails_or_hangs_is_no_traceback(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_on_path(tmp_path, "exit 40", monkeypatch)
    with pytest.raises(UnreadableScore, match=r"could not open part\.mscz"):
        open_score(b"PK", "part.mscz")
    put_on_path(tmp_path, "exec sleep 5", monkeypatch)
    monkeypatch.setattr(editor, "SECONDS", 0.2)
    with pytest.raises(UnreadableScore, match=r"did not open part\.mscz"):
        open_score(b"PK", "part.mscz")
    monkeypatch.setattr(editor, "LARGEST", 1)
    with pytest.raises(UnreadableScore, match="at most 1 are taken"):
        open_score(b"PK", "part.mscz")


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("tromba.pdf", b"%PDF-1.7", "music-recognition"),
        ("tromba.xml", b"%PDF-1.7", "music-recognition"),
        ("scan.JPG", b"", "picture of music"),
        ("photo", b"\x89PNG\r\n", "picture of music"),
        ("solo.mp3", b"ID3", "recording"),
        ("part.sib", b"", "export it as MusicXML"),
    ],
)
def test_what_is_no_score_is_told_what_to_do(name: str, data: bytes, said: str) -> None:
    with pytest.raises(UnreadableScore, match=said):
        open_score(data, name)


def test_musicxml_is_left_alone() -> None:
    for name in ("", "a.xml", "a.musicxml", "A.MXL"):
        assert open_score(SCORE, name)[0] is SCORE
        assert not is_imported(name)
    assert not no_score("a.xml", SCORE)
    assert set(TAKEN) == {*NATIVE, *IMPORTED}


def test_the_service_takes_every_format_and_says_why_it_does_not_take_others() -> None:
    files = [(f"part{suffix}", b"x") for suffix in TAKEN if suffix != ".mxl"]
    intake = take_in([*files, ("scan.pdf", b"%PDF-"), ("notes.txt", b"x")], Settings())
    refused = {part.name: part.refused.message for part, _ in intake.parts if part.refused is not None}
    assert set(refused) == {"scan.pdf", "notes.txt"}
    assert "music-recognition" in refused["scan.pdf"]
    assert "export the part as MusicXML" in refused["notes.txt"]


def test_what_is_imported_comes_back_as_musicxml() -> None:
    names = {name: Part(1, name, 1, "", "musicxml").written_name for name in ("a.abc", "b.mid", "c.xml")}
    assert names == {"a.abc": "a.abc.musicxml", "b.mid": "b.mid.musicxml", "c.xml": "c.xml"}
