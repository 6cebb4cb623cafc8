"""The bytes of a file as text, and back again without a byte lost.

A score comes as plain XML in any encoding, or as a compressed ``.mxl`` (see ``mxl``).
"""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass, replace

from annotator.errors import UnreadableScore
from annotator.findings import Finding

ZIP_START = b"PK\x03\x04"

_DECLARED = re.compile(rb"""<\?xml[^>]*?\bencoding\s*=\s*["']([A-Za-z0-9._:-]+)["']""")

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
        if self.archive is None:
            return xml
        from annotator.score.mxl import with_member  # noqa: PLC0415 - most files are no archives

        return with_member(self.archive, self.member, xml)


def open_source(data: bytes) -> Source:
    """``data`` of a .musicxml, .xml or .mxl file as a Source. Raises UnreadableScore."""
    if data.startswith(ZIP_START):
        from annotator.score.mxl import score_member  # noqa: PLC0415 - most files are no archives

        member, xml = score_member(data)
        return replace(decode(xml), archive=data, member=member)
    return decode(data)


def decode(xml: bytes) -> Source:
    """The text of a file that is no archive. Raises UnreadableScore."""
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
