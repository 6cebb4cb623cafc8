"""Names of files: shown as they were sent, and made safe for every disk an archive may be unpacked on."""

from __future__ import annotations

import re
import unicodedata
from hashlib import sha256
from pathlib import PurePosixPath

LONGEST_NAME = 1000
"""Characters of a path that are kept: longer ones are no names of scores."""

LONGEST_PIECE = 120
"""Bytes of UTF-8 of each folder or file in an archive; file systems take 255, some 260 for a whole path."""

# What Windows does not take in a name, and what it takes for a device (Microsoft, "Naming Files, Paths, and
# Namespaces"); other systems take all of it.
_FORBIDDEN = re.compile(r'[<>:"|?*\\]')
_DEVICES = re.compile(r"(?:con|prn|aux|nul|conin\$|conout\$|(?:com|lpt)[0-9¹²³])(?:\..*)?\Z", re.IGNORECASE)
_DRIVE = re.compile(r"[A-Za-z]:(?:[/\\]|\Z)")


def as_sent(name: str) -> str:
    """A file's path as sent, with ``/`` between its pieces, and ``_`` for control characters."""
    path = "".join("_" if unicodedata.category(sign) in ("Cc", "Cs") else sign for sign in name)
    pieces = [piece for piece in path.replace("\\", "/").split("/") if piece not in ("", ".")]
    return "/".join(pieces)


def leads_out(name: str) -> bool:
    """Whether a path leads out of the folder it is put into: from the root, a drive, or upwards."""
    path = name.replace("\\", "/")
    return path.startswith("/") or bool(_DRIVE.match(path)) or ".." in path.split("/")


def safe(name: str) -> str:
    """``name`` (as sent) with which every common system can make a file below a folder.

    Characters that are forbidden or cannot be seen become ``_``; a piece that is too long is cut, with
    eight characters of its hash so that two do not become one.
    """
    pieces = [_piece(piece) for piece in as_sent(name).split("/") if piece not in ("", ".", "..")]
    return "/".join(pieces) or "_"


def _piece(piece: str) -> str:
    found = "".join(_sign(sign) for sign in unicodedata.normalize("NFC", piece))
    found = _FORBIDDEN.sub("_", found).lstrip(" ").rstrip(" .") or "_"
    if _DEVICES.match(found):
        found = f"_{found}"
    if len(found.encode()) <= LONGEST_PIECE:
        return found
    suffix = PurePosixPath(found).suffix
    suffix = suffix if len(suffix.encode()) <= LONGEST_PIECE // 4 else ""
    room = LONGEST_PIECE - len(suffix.encode()) - 9
    stem = found.removesuffix(suffix).encode()[:room].decode("utf-8", "ignore")
    return f"{stem}~{sha256(piece.encode()).hexdigest()[:8]}{suffix}"


def _sign(sign: str) -> str:
    kind = unicodedata.category(sign)
    if kind == "Zs":  # any kind of blank
        return " "
    return "_" if kind[0] in "CZ" else sign  # control and format characters, surrogates, unassigned ones
