"""Compressed scores (.mxl): a zip whose ``META-INF/container.xml`` names the score among its members.

(MusicXML 4.0, "Compressed .mxl files".)
"""

from __future__ import annotations

import io
import lzma
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from html import unescape

from annotator.errors import UnreadableScore
from annotator.score.source import decode

CONTAINER = "META-INF/container.xml"
LARGEST_UNPACKED = 256 * 1024 * 1024
_ROOTFILE = re.compile(r"""<rootfile\b[^>]*?\bfull-path\s*=\s*(?:"([^"]*)"|'([^']*)')[^>]*>""")
_MEDIA_TYPE = re.compile(r"""\bmedia-type\s*=\s*["']([^"']*)["']""")


@contextmanager
def _unpacking() -> Iterator[None]:
    """What goes wrong in a zip, as a refusal."""
    try:
        yield
    except KeyError:
        raise UnreadableScore("the .mxl names a score that is not in it; export it again") from None
    except (
        *(zipfile.BadZipFile, zlib.error, lzma.LZMAError, struct.error),
        *(EOFError, OSError, NotImplementedError, RuntimeError, ValueError, OverflowError),
    ) as error:
        raise UnreadableScore(f"the .mxl cannot be unpacked ({error}); export it again") from None


def score_member(data: bytes) -> tuple[str, bytes]:
    """The name of the score among the members, and its bytes. Raises UnreadableScore."""
    with _unpacking(), zipfile.ZipFile(io.BytesIO(data)) as archive:
        size = sum(info.file_size for info in archive.infolist())
        if size > LARGEST_UNPACKED:
            raise UnreadableScore(f"the .mxl unpacks to more than {LARGEST_UNPACKED // 2**20} MiB")
        name = _rootfile(archive)
        return name, archive.read(name)


def _rootfile(archive: zipfile.ZipFile) -> str:
    names = archive.namelist()
    if CONTAINER not in names:
        scores = [name for name in names if name.lower().endswith((".musicxml", ".xml"))]
        if len(scores) == 1:
            return scores[0]
        raise UnreadableScore(f"the zip has no {CONTAINER}, so it is no .mxl; upload its files or unpack it")
    container = decode(archive.read(CONTAINER)).text
    named = []
    for tag in _ROOTFILE.finditer(container):
        media = _MEDIA_TYPE.search(tag.group(0))
        # The first rootfile is the score; others (a PDF, say) carry another media type.
        if media is None or "musicxml" in media.group(1) or media.group(1).endswith("/xml"):
            named.append(unescape(tag.group(1) or tag.group(2) or ""))
    if not named:
        raise UnreadableScore(f"{CONTAINER} in the .mxl names no score; export it again")
    return named[0]


def with_member(data: bytes, name: str, content: bytes) -> bytes:
    """The archive with ``content`` as its member ``name``, all else as it was. Raises UnreadableScore."""
    out = io.BytesIO()
    with _unpacking(), zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        new.comment = old.comment
        score = old.getinfo(name)  # the last of that name, as for all who read it
        for info in old.infolist():
            new.writestr(info, content if info is score else old.read(info))
    return out.getvalue()
