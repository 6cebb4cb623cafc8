"""The formats that are imported, how each is recognised, and how long and large a score in one may be."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import PurePath

MEMORY = 2_000_000_000  # bytes of address space
LONGEST = 10_000.0  # quarters; a long symphony
_HEAD = 4096  # bytes looked at to recognise a format


@dataclass(frozen=True, slots=True)
class Format:
    """A format that is imported.

    ``id`` is music21's word for it, ``name`` people's. ``begins`` recognises it where the file's name
    does not say. ``sounding``: it holds the pitches that sound, whatever the instrument.
    """

    id: str
    name: str
    suffixes: tuple[str, ...]
    begins: re.Pattern[bytes]
    sounding: bool = False
    binary: bool = False


_ABC = re.compile(rb"%abc|(?:[ \t\r]*(?:%[^\n]*)?\n)*X:[ \t]*\d")
_HUMDRUM = re.compile(rb"(?:!![^\n]*\n)*\*\*")
_MEI = re.compile(rb"\s*(?:<[?!][^>]*>\s*)*<(?:\w+:)?mei\b")

FORMATS: tuple[Format, ...] = (
    Format("midi", "MIDI", (".mid", ".midi", ".smf"), re.compile(rb"MThd"), sounding=True, binary=True),
    Format("abc", "ABC", (".abc",), _ABC),
    # In **kern pitches are at concert pitch, *ITr says how the instrument writes them (from memory of the
    # Humdrum reference).
    Format("humdrum", "Humdrum", (".krn", ".kern", ".hmd"), _HUMDRUM, sounding=True),
    Format("mei", "MEI", (".mei",), _MEI),
)


def format_of(data: bytes, name: str = "") -> Format | None:
    """The format to import ``data`` from, by what it begins with and then by the file's name.

    None for MusicXML and for what is not known.
    """
    if data.startswith(b"PK\x03\x04"):
        return None
    head = data if data.startswith(b"MThd") else decoded(data[:_HEAD]).lstrip("\ufeff").encode()
    for each in FORMATS:
        if each.begins.match(head):
            return each
    if head.lstrip().startswith(b"<"):
        return None
    suffix = PurePath(name).suffix.lower()
    return next((each for each in FORMATS if suffix in each.suffixes), None)


def decoded(data: bytes) -> str:
    """The text of a file in UTF-8, in UTF-16 with its mark, or else in Latin-1."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")
