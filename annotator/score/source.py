"""The bytes of a file as text, and back again without a byte lost.

A score comes as plain XML in any encoding, or as a compressed ``.mxl``: a zip whose
``META-INF/container.xml`` names the score among its members (MusicXML 4.0, "Compressed .mxl files").
"""

from __future__ import annotations

import codecs
import io
import re
import zipfile
import zlib
from dataclasses import dataclass, replace

from annotator.errors import UnreadableScore

CONTAINER = "META-INF/container.xml"
ZIP_START = b"PK\x03\x04"
LARGEST_MEMBER = 512 * 1024 * 1024

_DECLARED = re.compile(rb"""<\?xml[^>]*?\bencoding\s*=\s*["']([A-Za-z0-9._:-]+)["']""")
_ROOTFILE = re.compile(r"""<rootfile\b[^>]*?\bfull-path\s*=\s*(?:"([^"]*)"|'([^']*)')[^>]*>""")
_MEDIA_TYPE = re.compile(r"""\bmedia-type\s*=\s*["']([^"']*)["']""")

# A byte order mark says more than the declaration does (XML 1.0, appendix F).
_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
    (b"<\x00?\x00", "utf-16-le"),
    (b"\x00<\x00?", "utf-16-be"),
)


@dataclass(frozen=True, slots=True)
class Source:
    """A score's XML as ``text`` (a byte order mark, if any, is its first character).

    ``xml`` are the bytes the text was read from. ``archive`` is the .mxl they lay in, or None, and
    ``member`` the name of the score in it.
    """

    text: str
    encoding: str
    xml: bytes
    archive: bytes | None = None
    member: str = ""

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
    encoding = _encoding(xml)
    try:
        text = xml.decode(encoding)
    except UnicodeDecodeError as error:
        raise UnreadableScore(
            f"the file says it is {encoding}, but byte {error.start} is not; save it again as UTF-8"
        ) from None
    if not text.strip("\ufeff \t\r\n"):
        raise UnreadableScore("the file is empty; export the part again as MusicXML")
    # UTF-8 and UTF-16 decode one to one; of other encodings that has to be seen.
    if not encoding.startswith("utf-") and text.encode(encoding, "xmlcharrefreplace") != xml:
        raise UnreadableScore(
            f"the file's {encoding} text cannot be written back unchanged; save it again as UTF-8"
        )
    return Source(text, encoding, xml)


def _encoding(xml: bytes) -> str:
    for mark, encoding in _MARKS:
        if xml.startswith(mark):
            return encoding
    declared = _DECLARED.match(xml)
    name = declared.group(1).decode("ascii") if declared else "utf-8"
    try:
        encoding = codecs.lookup(name).name
    except LookupError:
        raise UnreadableScore(
            f"the file names an encoding nobody knows, {name!r}; save it again as UTF-8"
        ) from None
    if encoding.startswith(("utf-16", "utf-32")):
        # Declared wide, but the first bytes are plain: the declaration was left over from a conversion.
        return "utf-8"
    return encoding


def _score_member(data: bytes) -> tuple[str, bytes]:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            name = _rootfile(archive)
            info = archive.getinfo(name)
            if info.file_size > LARGEST_MEMBER:
                raise UnreadableScore(
                    f"{name} in the .mxl unpacks to more than {LARGEST_MEMBER // 2**20} MiB"
                )
            return name, archive.read(info)
    except KeyError:
        raise UnreadableScore("the .mxl names a score that is not in it; export it again") from None
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise UnreadableScore(f"the .mxl cannot be unpacked ({error}); export it again") from None


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
            named.append(tag.group(1) or tag.group(2))
    if not named:
        raise UnreadableScore(f"{CONTAINER} in the .mxl names no score; export it again")
    return named[0]


def _with_member(data: bytes, name: str, content: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        new.comment = old.comment
        for info in old.infolist():
            new.writestr(info, content if info.filename == name else old.read(info))
    return out.getvalue()
