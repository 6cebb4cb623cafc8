"""What came in: from uploaded files and .zip archives to the parts of a job.

A file that is no score, or whose name leads out of its folder, becomes a part that fails with its reason,
so that the others are still delivered. Only an archive that unpacks beyond all measure refuses the whole
request.
"""

from __future__ import annotations

import lzma
import zipfile
import zlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from hashlib import sha256
from io import BytesIO
from pathlib import PurePosixPath

from annotator.errors import CrooklineError
from annotator.importing.opening import no_score
from workers.jobs import SUFFIXES, Part, Reason
from workers.names import LONGEST_NAME, as_sent, leads_out, safe
from workers.settings import Settings

KINDS = ", ".join(SUFFIXES)
SYMLINK, TYPE_MASK = 0o120000, 0o170000
ENCRYPTED = 0x1
UNPACKING_ERRORS = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    NotImplementedError,
    RuntimeError,
    OSError,
    ValueError,
    EOFError,
)


class BadUpload(CrooklineError):
    """The upload cannot become a job at all; ``too_large`` when it goes beyond a limit."""

    code = "bad-upload"

    def __init__(self, message: str, *, too_large: bool = False) -> None:
        super().__init__(message)
        self.too_large = too_large


@dataclass(slots=True)
class Intake:
    """The parts so far, their bytes, and what was left out."""

    settings: Settings
    parts: list[tuple[Part, bytes]] = field(default_factory=list)
    skipped: list[tuple[str, str]] = field(default_factory=list)
    unpacked: int = 0
    _names: set[str] = field(default_factory=set)
    _folders: set[str] = field(default_factory=set)
    _written: set[str] = field(default_factory=lambda: {"summary.json", "summary.html"})

    def add(self, name: str, data: bytes) -> None:
        """Take in an uploaded file; a .zip is opened. Raises BadUpload."""
        refused = _name_fault(name)
        name = as_sent(name)[-LONGEST_NAME:] or "?"
        if refused is not None:
            self._add_score(name, b"", refused)
        elif name.lower().endswith(".zip"):
            self._add_zip(name, data)
        else:
            self._add_score(name, data, _suffix_fault(name))

    def _add_score(self, name: str, data: bytes, refused: Reason | None = None) -> None:
        if len(self.parts) >= self.settings.max_parts:
            raise BadUpload(
                f"more than {self.settings.max_parts} files; send them as several jobs", too_large=True
            )
        limit = self.settings.max_file
        kind = SUFFIXES.get(PurePosixPath(name).suffix.lower(), "musicxml")
        if refused is None and len(data) > limit:
            refused = Reason("too-large", f"the file has {len(data)} bytes; at most {limit} are taken")
        if refused is None and kind == "mxl":
            refused = _mxl_fault(data, limit)
        if refused is not None:
            data = b""
        n = len(self.parts) + 1
        digest = sha256(data).hexdigest()
        self.parts.append((Part(n, self._unused(name), len(data), digest, kind, refused), data))

    def _unused(self, name: str) -> str:
        """The name, numbered when another file of the job has it already; so is a folder that would stand
        where a file of the archive does, or the file where a folder does."""
        *folders, last = name.split("/")
        where = ""
        for folder in folders:
            known = folder in ("", "..")
            where += folder if known else self._free(where, folder, lambda path: path in self._written)
            self._folders.add(safe(where).casefold())
            where += "/"
        last = self._free(
            where, last, lambda path: path in self._names or not self._folders.isdisjoint(_beside(path))
        )
        path = safe(where + last).casefold()
        self._names.add(path)
        self._written.update(_beside(path))
        return where + last

    @staticmethod
    def _free(where: str, piece: str, is_taken: Callable[[str], bool]) -> str:
        path, candidate, count = PurePosixPath(piece), piece, 1
        # Some systems do not tell a from A, and what is made safe may become the same.
        while is_taken(safe(where + candidate).casefold()):
            count += 1
            candidate = f"{path.stem} ({count}){path.suffix}"
        return candidate

    def _add_zip(self, archive_name: str, data: bytes) -> None:
        try:
            archive = zipfile.ZipFile(BytesIO(data))
        except UNPACKING_ERRORS as error:
            self._add_score(
                archive_name, b"", Reason("bad-archive", f"this is no .zip that can be opened: {error}")
            )
            return
        with archive:
            members = [member for member in archive.infolist() if not member.filename.endswith("/")]
            if len(members) > 4 * self.settings.max_parts:
                raise BadUpload(f"{archive_name} holds {len(members)} files, too many", too_large=True)
            # zipfile gives no more bytes than the size an entry declares, so adding those up is enough.
            self.unpacked += sum(
                member.file_size for member in members if _suffix_fault(member.filename) is None
            )
            if self.unpacked > self.settings.max_unpacked:
                limit = self.settings.max_unpacked
                raise BadUpload(f"{archive_name} unpacks to more than {limit} bytes", too_large=True)
            for member in members:
                self._add_member(archive, archive_name, member)

    def _add_member(self, archive: zipfile.ZipFile, archive_name: str, member: zipfile.ZipInfo) -> None:
        refused = _name_fault(member.filename)
        name = as_sent(member.filename)[-LONGEST_NAME:] or "?"
        if "__MACOSX" in name.split("/") or PurePosixPath(name).name.startswith("."):
            return  # a computer's own notes, not the sender's
        if _suffix_fault(name) is not None:
            self.skipped.append((name, no_score(name) or f"not a score ({KINDS})"))
        elif refused is not None:
            self._add_score(name, b"", refused)
        elif (member.external_attr >> 16) & TYPE_MASK == SYMLINK:
            self._add_score(name, b"", Reason("bad-archive", "this is a link, not a file"))
        elif member.flag_bits & ENCRYPTED:
            self._add_score(name, b"", Reason("bad-archive", "this is encrypted; send it without a password"))
        else:
            if member.file_size > self.settings.max_file:
                fault = f"the file has {member.file_size} bytes; at most {self.settings.max_file} are taken"
                self._add_score(name, b"", Reason("too-large", fault))
                return
            try:
                self._add_score(name, archive.read(member))
            except UNPACKING_ERRORS as error:
                self._add_score(name, b"", Reason("bad-archive", f"it cannot be unpacked: {error}"))


def take_in(files: Iterable[tuple[str, bytes]], settings: Settings) -> Intake:
    """The parts of a job from uploaded files (name, bytes). Raises BadUpload when there is nothing to do."""
    intake = Intake(settings)
    for name, data in files:
        intake.add(name, data)
    if not intake.parts:
        what = f"; left out: {', '.join(name for name, _ in intake.skipped[:5])}" if intake.skipped else ""
        raise BadUpload(f"there is no score in what was sent ({KINDS}, or a .zip of them){what}")
    if all(part.refused is not None for part, _ in intake.parts):
        faults = "; ".join(
            f"{part.name}: {part.refused.message}" for part, _ in intake.parts[:5] if part.refused
        )
        raise BadUpload(f"none of the files can be worked on: {faults}")
    return intake


def _beside(path: str) -> set[str]:
    """What an archive may hold of a file."""
    return {path, *(f"{path}{suffix}" for suffix in (".report.json", ".failed.txt", ".musicxml"))}


def _name_fault(name: str) -> Reason | None:
    if not leads_out(name):
        return None
    return Reason("bad-name", "the name leads out of its folder; send the file under a plain name")


def _suffix_fault(name: str) -> Reason | None:
    if PurePosixPath(name).suffix.lower() in SUFFIXES:
        return None
    other = f"the name does not end in one of {KINDS} or .zip; export the part as MusicXML"
    return Reason("not-a-score", no_score(name) or other)


def _mxl_fault(data: bytes, limit: int) -> Reason | None:
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            size = sum(member.file_size for member in archive.infolist())
    except UNPACKING_ERRORS:
        return None  # the library says what is wrong with it
    if size > limit:
        return Reason("too-large", f"it unpacks to {size} bytes; at most {limit} are taken")
    return None
