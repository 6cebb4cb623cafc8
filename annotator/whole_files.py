"""Files written whole or not at all: a reader sees what was there before or all of the new."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

UNFINISHED = ".partial"
"""The ending of a file that is being written; its name begins with a dot."""
_TRIES = 10


def write_whole(path: Path, *pieces: bytes, mode: int = 0o666) -> None:
    """Write ``pieces``, end to end, to ``path``, in place of what was there; folders are made.

    ``mode``: the rights of the file, less the process's mask. Raises OSError, and leaves nothing behind.
    """
    written = write_beside(path, *pieces, mode=mode)
    try:
        written.replace(path)
    except BaseException:
        written.unlink(missing_ok=True)
        raise


def write_beside(path: Path, *pieces: bytes, mode: int = 0o666) -> Path:
    """A new file beside ``path`` that holds ``pieces``, under a name nobody else uses. Raises as
    ``write_whole`` does."""
    written = path.with_name(f".{os.urandom(8).hex()}{UNFINISHED}")
    descriptor = _opened(written, mode)
    try:
        try:
            for piece in pieces:
                left = memoryview(piece)
                while left:
                    left = left[os.write(descriptor, left) :]
        finally:
            os.close(descriptor)
    except BaseException:
        written.unlink(missing_ok=True)
        raise
    return written


def _opened(path: Path, mode: int) -> int:
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    for _ in range(_TRIES):
        try:
            return os.open(path, flags, mode)
        except FileNotFoundError:
            # No such folder yet, or somebody has just removed it as empty; or removes it again now.
            with suppress(FileNotFoundError, FileExistsError):
                path.parent.mkdir(parents=True, exist_ok=True)
    return os.open(path, flags, mode)
