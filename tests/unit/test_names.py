"""Names of files: no name costs a part, and whatever was sent can be unpacked anywhere."""

from __future__ import annotations

import io
import zipfile
from pathlib import PurePosixPath, PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workers.intake import take_in
from workers.names import LONGEST_PIECE, as_sent, leads_out, safe
from workers.settings import Settings

ODD = [
    "12: Trumpet.musicxml",
    "Overture: Trumpet 1.musicxml",
    "Trumpet\u00a01.musicxml",  # a no-break space
    "Trom\u00adpete.musicxml",  # a soft hyphen
    "Trum\u200dpet.musicxml",  # a zero-width joiner
    "\u200fTrumpet.musicxml",  # a right-to-left mark
    "a" * 400 + ".musicxml",
    "/".join(["season"] * 40) + "/part.musicxml",
    'what? "this" <that>|.musicxml',
    "con.musicxml",
    "tab\there.musicxml",
    "half \ud800.musicxml",
    "..hidden...musicxml",
]


@pytest.mark.parametrize("name", ODD)
def test_no_name_costs_a_part(name: str) -> None:
    intake = take_in([(name, b"<score-partwise/>"), ("plain.xml", b"<score-partwise/>")], Settings())
    (odd, _), (plain, _) = intake.parts
    assert odd.refused is None
    assert plain.refused is None
    visible = name.replace("\t", "_").replace("\ud800", "_")
    assert odd.name == visible


@pytest.mark.parametrize("name", ["../a.xml", "/etc/a.xml", "C:\\a.xml", "x/../../a.xml", "\\\\host\\a.xml"])
def test_what_leads_out_of_its_folder_is_refused_alone(name: str) -> None:
    intake = take_in([(name, b"<score-partwise/>"), ("plain.xml", b"<score-partwise/>")], Settings())
    (out, data), (plain, _) = intake.parts
    assert out.refused is not None
    assert out.refused.code == "bad-name"
    assert data == b""
    assert plain.refused is None


def test_names_that_would_become_one_file_are_numbered() -> None:
    names = ["A.xml", "a.xml", "a:b.xml", "a?b.xml", "a_b.xml"]
    intake = take_in([(name, b"<score-partwise/>") for name in names], Settings())
    kept = {safe(part.name).casefold() for part, _ in intake.parts}
    assert len(kept) == len(names)


@given(st.text(max_size=300) | st.text(st.sampled_from(" ./\\:?*\u202e\u00a0aß"), max_size=60))
def test_a_safe_name_stays_below_its_folder_on_every_system(name: str) -> None:
    found = safe(name)
    assert not leads_out(found)
    assert found
    assert as_sent(found) == found
    for piece in found.split("/"):
        assert piece not in ("", ".", "..")
        assert len(piece.encode()) <= LONGEST_PIECE
        assert not set(piece) & set('<>:"|?*\\')
        assert piece == piece.strip(" ")
        assert not piece.endswith(".")
        assert piece.isprintable()
    assert not PureWindowsPath(found).drive
    assert not PurePosixPath(found).is_absolute()


@given(st.text(max_size=300))
def test_making_safe_twice_changes_nothing(name: str) -> None:
    assert safe(safe(name)) == safe(name)


@pytest.mark.parametrize(
    "sent",
    [
        ("a.xml", "a.xml/b.xml"),
        ("a.xml/b.xml", "A.xml"),
        ("a.xml", "a.xml.report.json/b.xml"),
        ("a.xml.failed.txt/b.xml", "a.xml"),
        ("summary.json/b.xml", "a.xml"),
    ],
)
def test_no_file_of_the_archive_stands_where_a_folder_does(sent: tuple[str, ...]) -> None:
    found = [part.name for part, _ in take_in([(name, b"<x/>") for name in sent], Settings()).parts]
    files = {f"{name}{end}".casefold() for name in found for end in ("", ".report.json", ".failed.txt")}
    folders = {str(folder).casefold() for name in found for folder in PurePosixPath(name).parents}
    assert len(set(found)) == len(sent)
    assert folders.isdisjoint({*files, "summary.json", "summary.html"})


def test_an_entry_of_an_archive_without_a_name_costs_the_others_nothing() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name in ("", "a.xml"):
            archive.writestr(zipfile.ZipInfo(name), b"<x/>")
    intake = take_in([("all.zip", out.getvalue())], Settings())
    assert [part.name for part, _ in intake.parts] == ["a.xml"]
    assert [name for name, _ in intake.skipped] == ["?"]
