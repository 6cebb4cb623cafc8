"""Bytes by name, in a folder or any object store that fsspec knows.

A write is seen whole or not at all: in a folder it goes to a temporary file first and is renamed;
an object store puts an object whole by nature.
"""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import IO, Any, cast

import fsspec
from fsspec.implementations.local import LocalFileSystem

from annotator.whole_files import write_beside, write_whole

REMOVALS = 10
MODE = 0o600
"""The store's files are the service's own."""
AT_ONCE = 16  # requests to an object store that run side by side


class Files:
    """The files under one root. Names are relative, with ``/``; a missing one raises FileNotFoundError."""

    def __init__(self, url: str) -> None:
        # Other processes write too, so listings are asked for each time.
        options: dict[str, Any] = (
            {"use_listings_cache": False, "skip_instance_cache": True} if "://" in url else {}
        )
        self._fs, root = fsspec.core.url_to_fs(url, **options)
        self.root = str(root).rstrip("/")
        self.local = isinstance(self._fs, LocalFileSystem)
        if self.local:
            Path(self.root).mkdir(parents=True, exist_ok=True)

    def _path(self, name: str) -> str:
        return f"{self.root}/{name}"

    def _remote(self, call: str, *arguments: Any, **options: Any) -> Any:
        """Ask the file system. Clients of object stores have errors of their own; here they are OSError."""
        try:
            return getattr(self._fs, call)(*arguments, **options)
        except (OSError, ValueError):
            raise
        except Exception as error:
            raise OSError(f"the store cannot be reached: {type(error).__name__}: {error}") from error

    def read(self, name: str) -> bytes:
        """The bytes of a file."""
        if self.local:
            return Path(self._path(name)).read_bytes()
        return cast(bytes, self._remote("cat_file", self._path(name)))

    def read_many(self, names: Iterable[str]) -> dict[str, bytes]:
        """The bytes of those that are there; an object store is asked for many at once."""
        names = list(names)
        if self.local:
            found = {}
            for name in names:
                with suppress(FileNotFoundError):
                    found[name] = self.read(name)
            return found
        paths = {self._path(name): name for name in names}
        if not paths:
            return {}
        answers = self._remote("cat", list(paths), on_error="return", batch_size=AT_ONCE)
        return {paths[path]: self._there(answer) for path, answer in answers.items() if not _missing(answer)}

    def read_pieces(self, pieces: Sequence[tuple[str, int, int]]) -> list[bytes | None]:
        """Pieces of files (name, start, size), those that are not there as None; an object store is asked
        for many at once."""
        if self.local:
            found: list[bytes | None] = []
            for piece in pieces:
                try:
                    found.append(self.read_piece(*piece))
                except FileNotFoundError:
                    found.append(None)
            return found
        if not pieces:
            return []
        answers = self._remote(
            "cat_ranges",
            [self._path(name) for name, _, _ in pieces],
            [start for _, start, _ in pieces],
            [start + size for _, start, size in pieces],
            batch_size=AT_ONCE,
            on_error="return",
        )
        return [None if _missing(answer) else self._there(answer) for answer in answers]

    @staticmethod
    def _there(answer: Any) -> bytes:
        if isinstance(answer, Exception):
            raise OSError(f"the store cannot be reached: {type(answer).__name__}: {answer}") from answer
        return cast(bytes, answer)

    def read_piece(self, name: str, start: int, size: int) -> bytes:
        """So many bytes of a file from a place on."""
        if not self.local:
            return cast(bytes, self._remote("cat_file", self._path(name), start=start, end=start + size))
        with Path(self._path(name)).open("rb", buffering=0) as stream:
            stream.seek(start)
            return stream.read(size)

    def write(self, name: str, *pieces: bytes) -> None:
        """Put a file of these pieces, end to end, replacing what was there; a reader sees the old or the
        new, nothing between."""
        if not self.local:
            self._remote("pipe_file", self._path(name), b"".join(pieces))
            return
        write_whole(Path(self._path(name)), *pieces, mode=MODE)

    def create(self, name: str, data: bytes) -> bool:
        """Put a file unless there is one of that name; of several at once exactly one succeeds."""
        if not self.local:
            try:
                self._remote("pipe_file", self._path(name), data, mode="create")
            except FileExistsError:
                return False
            return True
        path = Path(self._path(name))
        written = write_beside(path, data, mode=MODE)
        try:
            os.link(written, path)
        except FileExistsError:
            return False
        finally:
            written.unlink(missing_ok=True)
        return True

    def open(self, name: str) -> IO[bytes]:
        """A file to read and seek in."""
        return cast("IO[bytes]", self._remote("open", self._path(name), "rb"))

    def size(self, name: str) -> int:
        """How many bytes a file has."""
        return int(self._remote("info", self._path(name))["size"])

    def found(self, folder: str) -> Iterator[tuple[str, float, int]]:
        """The files anywhere in a folder, when each was last written (seconds since 1970), and its bytes."""
        if self.local:
            root = Path(self.root)
            for path in sorted((root / folder).rglob("*")):
                with suppress(FileNotFoundError):
                    if path.is_file():
                        seen = path.stat()
                        yield path.relative_to(root).as_posix(), seen.st_mtime, seen.st_size
            return
        entries = self._remote("find", self._path(folder), detail=True)
        for name, entry in sorted(entries.items()):
            when = entry.get("LastModified") or self._remote("modified", name)
            yield name.removeprefix(f"{self.root}/"), when.timestamp(), int(entry.get("size") or 0)

    def exists(self, name: str) -> bool:
        """Whether there is a file or folder of that name."""
        if self.local:
            return Path(self._path(name)).exists()
        return bool(self._remote("exists", self._path(name)))

    def names(self, folder: str) -> list[str]:
        """The names directly in a folder, sorted; empty when there is no such folder."""
        if self.local:
            try:
                found = [path.name for path in Path(self._path(folder)).iterdir()]
            except (FileNotFoundError, NotADirectoryError):
                return []
            return sorted(name for name in found if not name.startswith("."))
        try:
            entries = self._remote("ls", self._path(folder), detail=False, refresh=True)
        except FileNotFoundError:
            return []
        return sorted({entry.rstrip("/").rsplit("/", 1)[-1] for entry in entries} - {""})

    def remove(self, name: str) -> None:
        """Remove a file; what is not there is removed already."""
        if self.local:
            path = Path(self._path(name))
            path.unlink(missing_ok=True)
            self._prune(path.parent)
            return
        with suppress(FileNotFoundError):
            self._remote("rm_file", self._path(name))

    def remove_all(self, names: Iterable[str] = (), folders: Iterable[str] = ()) -> None:
        """Remove files, and folders with all in them; an object store is asked in bulk."""
        names, folders = list(names), list(folders)
        if self.local:
            for name in names:
                self.remove(name)
            for folder in folders:
                self._remove_tree(Path(self._path(folder)))
            return
        with ThreadPoolExecutor(AT_ONCE) as pool:
            listed = pool.map(lambda folder: self._remote("find", self._path(folder)), folders)
            paths = [self._path(name) for name in names] + [path for found in listed for path in found]
        if paths:
            with suppress(FileNotFoundError):
                self._remote("rm", paths)

    def _remove_tree(self, path: Path) -> None:
        for _ in range(REMOVALS):
            # Somebody may write into the folder at the same moment: then it is not empty, so again.
            if not path.is_dir():
                break
            shutil.rmtree(path, ignore_errors=True)
        self._prune(path.parent)

    def _prune(self, folder: Path) -> None:
        """Remove folders that nothing is left in, up to the root."""
        root = Path(self.root)
        while folder != root and root in folder.parents:
            try:
                folder.rmdir()
            except OSError:
                return
            folder = folder.parent

    def check(self) -> None:
        """Raise unless a file can be written, read back and removed."""
        name = f"health/{secrets.token_hex(6)}"
        self.write(name, b"ok")
        try:
            if self.read(name) != b"ok":
                raise OSError("the store gave back other bytes than it was given")
        finally:
            self.remove(name)


def _missing(answer: Any) -> bool:
    return isinstance(answer, FileNotFoundError)
