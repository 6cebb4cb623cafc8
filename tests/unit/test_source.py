"""Bytes become text and the same bytes again."""

from __future__ import annotations

import io
import zipfile

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotator.errors import UnreadableScore
from annotator.score.mxl import CONTAINER
from annotator.score.source import open_source

BODY = "<score-partwise><part-list/></score-partwise>"


@pytest.mark.parametrize(
    "data",
    [
        f'<?xml version="1.0" encoding="UTF-8"?>\r\n{BODY}\r\n'.encode(),
        b"\xef\xbb\xbf" + f'<?xml version="1.0"?>{BODY}'.encode(),
        "\ufeff".encode("utf-16-le") + f'<?xml version="1.0" encoding="UTF-16"?>{BODY}'.encode("utf-16-le"),
        "\ufeff".encode("utf-16-be") + f'<?xml version="1.0" encoding="UTF-16"?>{BODY}'.encode("utf-16-be"),
        f'<?xml version="1.0" encoding="UTF-16"?>{BODY}'.encode("utf-16-be"),
        f'<?xml version="1.0" encoding="ISO-8859-1"?><a>é</a>{BODY}'.encode("latin-1"),
    ],
)
def test_every_encoding_comes_back_as_it_was(data: bytes) -> None:
    source = open_source(data)
    assert BODY in source.text
    assert source.with_text(source.text) == data


def test_a_letter_the_encoding_lacks_goes_in_as_a_reference() -> None:
    source = open_source(f'<?xml version="1.0" encoding="ISO-8859-1"?>{BODY}'.encode("latin-1"))
    assert source.with_text(source.text + "<!-- ♭ -->").endswith(b"<!-- &#9837; -->")


def archive(members: dict[str, bytes], stored: str = "") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name, content in members.items():
            info = zipfile.ZipInfo(name, (2026, 1, 2, 3, 4, 6))
            info.compress_type = zipfile.ZIP_STORED if name == stored else zipfile.ZIP_DEFLATED
            new.writestr(info, content)
    return out.getvalue()


def members_of(data: bytes) -> list[tuple[str, bytes, int, tuple[int, ...]]]:
    with zipfile.ZipFile(io.BytesIO(data)) as opened:
        return [
            (info.filename, opened.read(info), info.compress_type, info.date_time)
            for info in opened.infolist()
        ]


def test_an_mxl_keeps_its_other_members_in_order() -> None:
    container = b'<container><rootfiles><rootfile full-path="a/score.xml"/></rootfiles></container>'
    data = archive(
        {
            "mimetype": b"application/vnd.recordare.musicxml",
            CONTAINER: container,
            "a/score.xml": BODY.encode(),
            "x.pdf": b"%",
        },
        stored="mimetype",
    )
    source = open_source(data)
    assert source.member == "a/score.xml"
    changed = members_of(source.with_text(source.text + "<!--1-->"))
    assert [member for member in changed if member[0] != "a/score.xml"] == [
        member for member in members_of(data) if member[0] != "a/score.xml"
    ]
    assert [member[0] for member in changed] == [member[0] for member in members_of(data)]
    assert members_of(source.with_text(source.text)) == members_of(data)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "empty"),
        (b"\xef\xbb\xbf  ", "empty"),
        (b"PK\x03\x04broken", "unpacked"),
        ('<?xml version="1.0"?><a>é</a>'.encode("latin-1"), "utf-8"),
        (b'<?xml version="1.0" encoding="klingon"?><a/>', "klingon"),
        (
            archive(
                {CONTAINER: b'<container><rootfiles><rootfile full-path="no.xml"/></rootfiles></container>'}
            ),
            "not in it",
        ),
        (archive({"one.txt": b""}), "no .mxl"),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(data: bytes, says: str) -> None:
    with pytest.raises(UnreadableScore, match=says):
        open_source(data)


@given(st.binary(max_size=200))
def test_no_bytes_at_all_end_in_anything_but_a_source_or_a_refusal(data: bytes) -> None:
    try:
        source = open_source(data)
    except UnreadableScore:
        return
    assert source.with_text(source.text) == data
