"""The bytes of a file as text, and back again without a byte lost.

A score comes as plain XML in any encoding, or as a compressed ``.mxl``: a zip whose
``META-INF/container.xml`` names the score among its members (MusicXML 4.0, "Compressed .mxl files").
"""

from __future__ import annotations

import codecs
import io
import lzma
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from xml.sax.saxutils import unescape

from annotator.errors import UnreadableScore
from annotator.findings import Finding

CONTAINER = "META-INF/container.xml"
ZIP_START = b"PK\x03\x04"
LARGEST_UNPACKED = 256 * 1024 * 1024

_DECLARED = re.compile(rb"""<\?xml[^>]*?\bencoding\s*=\s*["']([A-Za-z0-9._:-]+)["']""")
_ROOTFILE = re.compile(r"""<rootfile\b[^>]*?\bfull-path\s*=\s*(?:"([^"]*)"|'([^']*)')[^>]*>""")
_QUOTES = {"&quot;": '"', "&apos;": "'"}
_MEDIA_TYPE = re.compile(r"""\bmedia-type\s*=\s*["']([^"']*)["']""")

# A byte order mark says more than the declaration does (XML 1.0, appendix F).
_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
    (b"<\x00?\x00", "utf-16-le"),
    (b"\x00<\x00?", "utf-16-be"),
)
# These decode one to one; of other encodings that has to be seen.
_ONE_TO_ONE = frozenset(encoding for _, encoding in _MARKS)
# Python knows these as encodings too, and no file is written in them.
_NO_CHARACTER_SETS = frozenset(
    ("idna", "punycode", "undefined", "unicode_escape", "raw_unicode_escape", "utf-7", "utf-8-sig")
)


@dataclass(frozen=True, slots=True)
class Source:
    """A score's XML as ``text`` (a byte order mark, if any, is its first character).

    ``xml`` are the bytes the text was read from. ``archive`` is the .mxl they lay in, or None, and
    ``member`` the name of the score in it. ``findings``: what a person should know of the bytes.
    """

    text: str
    encoding: str
    xml: bytes
    archive: bytes | None = None
    member: str = ""
    findings: tuple[Finding, ...] = ()

    def with_text(self, text: str) -> bytes:
        """The whole file's bytes with ``text`` in place of its score; everything else as it was."""
        # A letter the file's encoding lacks goes in as a character reference, which every reader resolves.
        xml = text.encode(self.encoding, "xmlcharrefreplace")
        return xml if self.archive is None else _with_member(self.archive, self.member, xml)


def open_source(data: bytes) -> Source:
    """``data`` of a .musicxml, .xml or .mxl file as a Source. Raises UnreadableScore."""
    if data.startswith(ZIP_START):
        member, xml = _score_member(data)
        return replace(_decode(xml), archive=data, member=member)
    return _decode(data)


def _decode(xml: bytes) -> Source:
    encoding, findings = _encoding(xml)
    try:
        text = xml.decode(encoding)
        back = xml if encoding in _ONE_TO_ONE else text.encode(encoding, "xmlcharrefreplace")
    except UnicodeDecodeError as error:
        raise UnreadableScore(
            f"the file says it is {encoding}, but byte {error.start} is not; save it again as UTF-8"
        ) from None
    except (ValueError, LookupError):
        raise UnreadableScore(f"the file is no {encoding} text; save it again as UTF-8") from None
    if not text.strip("\ufeff \t\r\n"):
        raise UnreadableScore("the file is empty; export the part again as MusicXML")
    if back != xml:
        raise UnreadableScore(
            f"the file's {encoding} text cannot be written back unchanged; save it again as UTF-8"
        )
    return Source(text, encoding, xml, findings=findings)


def _encoding(xml: bytes) -> tuple[str, tuple[Finding, ...]]:
    """The encoding by Python's name, and what is wrong with the one the file names."""
    for mark, encoding in _MARKS:
        if xml.startswith(mark):
            return encoding, ()
    declared = _DECLARED.match(xml)
    name = declared.group(1).decode("ascii") if declared else "utf-8"
    try:
        encoding = codecs.lookup(name).name
        # The file begins in ASCII, or the name could not have been read.
        known = encoding not in _NO_CHARACTER_SETS and "<?xml".encode(encoding)
    except (LookupError, ValueError):
        known = b""
    if not known:
        raise UnreadableScore(f"the file names an encoding nobody knows, {name!r}; save it again as UTF-8")
    if encoding.startswith(("utf-16", "utf-32")):
        # Declared wide, but the first bytes are plain: the declaration was left over from a conversion.
        message = f"the file says that it is {name} and is UTF-8; some programs may refuse it: save it again"
        return "utf-8", (Finding("encoding", message),)
    return encoding, ()


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


def _score_member(data: bytes) -> tuple[str, bytes]:
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
    container = _decode(archive.read(CONTAINER)).text
    named = []
    for tag in _ROOTFILE.finditer(container):
        media = _MEDIA_TYPE.search(tag.group(0))
        # The first rootfile is the score; others (a PDF, say) carry another media type.
        if media is None or "musicxml" in media.group(1) or media.group(1).endswith("/xml"):
            named.append(unescape(tag.group(1) or tag.group(2) or "", _QUOTES))
    if not named:
        raise UnreadableScore(f"{CONTAINER} in the .mxl names no score; export it again")
    return named[0]


def _with_member(data: bytes, name: str, content: bytes) -> bytes:
    out = io.BytesIO()
    with _unpacking(), zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        new.comment = old.comment
        score = old.getinfo(name)  # the last of that name, as for all who read it
        for info in old.infolist():
            new.writestr(info, content if info is score else old.read(info))
    return out.getvalue()
