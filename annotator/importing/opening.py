"""Any file that may hold a score, as MusicXML; and what to do with one that does not."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import PurePath

from annotator.errors import UnreadableScore
from annotator.findings import Finding
from annotator.importing import editor
from annotator.importing.formats import FORMATS

NATIVE = (".musicxml", ".xml", ".mxl")
IMPORTED = tuple(suffix for each in FORMATS for suffix in each.suffixes) + editor.SUFFIXES
TAKEN = NATIVE + IMPORTED
"""The endings of the files that are taken."""

_SCAN = (
    "it is a picture of music and holds no notes that a program could read. If the part was written in a "
    "notation program, export MusicXML there; a scan has to be read by a music-recognition program first, "
    "checked, and exported as MusicXML"
)
_SOUND = "it is a recording; what can be marked is a score, as MusicXML"
_EXPORT = "it is in a notation program's own format; open it there and export it as MusicXML"
_SAID = (
    (_SCAN, ".pdf .png .jpg .jpeg .tif .tiff .gif .bmp .svg .heic .webp .ps .djvu"),
    (_SOUND, ".mp3 .wav .flac .ogg .m4a .aac"),
    (_EXPORT, ".sib .mus .musx .dorico .cap .capx .gp .ly"),
)
_OTHERS: Mapping[str, str] = {suffix: what for what, suffixes in _SAID for suffix in suffixes.split()}
# What pictures begin with, for those under another name (PDF: ISO 32000; PNG, JPEG, TIFF: their standards).
_PICTURES = (b"%PDF-", b"\x89PNG", b"\xff\xd8\xff", b"II*\x00", b"MM\x00*")


def is_imported(name: str) -> bool:
    """Whether a file of this name is brought to MusicXML first."""
    return PurePath(name).suffix.lower() in IMPORTED


def no_score(name: str, data: bytes = b"") -> str:
    """What to say of a file that is no score, by its name's ending and first bytes; "" if it may be one."""
    said = _SCAN if data.startswith(_PICTURES) else ""
    said = said or _OTHERS.get(PurePath(name).suffix.lower(), "")
    return said and f"{PurePath(name).name or 'the file'} cannot be marked: {said}"


def open_score(data: bytes, name: str = "") -> tuple[bytes, tuple[Finding, ...]]:
    """``data`` as MusicXML (.musicxml or .mxl), and what the import lost.

    ``name`` is the file's, for its ending. Raises UnreadableScore, which says what to do.
    """
    said = no_score(name, data)
    if said:
        raise UnreadableScore(said)
    suffix = PurePath(name).suffix.lower()
    if suffix in editor.SUFFIXES:
        return editor.to_musicxml(data, name), ()
    if not suffix or suffix in NATIVE:
        return data, ()
    from annotator.importing.importing import to_musicxml  # noqa: PLC0415 - other formats are rare

    return to_musicxml(data, name)
