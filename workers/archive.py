"""Everything of a job in one .zip, laid out as it came in.

The results lie deflated in the store, so the archive is their bytes with headers between: its length and
every place in it are known beforehand, nothing is computed or kept, and any range of it can be read.
"""

from __future__ import annotations

import io
import json
import zipfile
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from hashlib import sha256
from typing import Any

from annotator.registry.product_rows import PRODUCT
from workers import packs, summary_page
from workers.jobs import Job, Outcome, Part
from workers.names import safe
from workers.packs import Stored
from workers.status import Status
from workers.store import Store

READ_AT_ONCE = 4_000_000
PIECES_AT_ONCE = 64
Lying = tuple[str, Outcome, str]


@dataclass(frozen=True, slots=True)
class Stretch:
    """Bytes of the archive from ``at`` on: at hand, or those of a result in the store."""

    at: int
    size: int
    data: bytes | Lying


class Archive(io.RawIOBase):
    """The archive of a job that has ended, to read and seek in; ``size`` in bytes, ``digest`` names its
    contents. Reading raises OSError when the store cannot be reached or the job is gone."""

    def __init__(self, store: Store, job: Job, status: Status) -> None:
        super().__init__()
        self._store = store
        self._stretches: list[Stretch] = []
        self._infos: list[zipfile.ZipInfo] = []
        self._fetched: dict[int, bytes] = {}
        self._at = self.size = 0
        finished = max(outcome.finished for outcome in status.outcomes.values())
        self._when = datetime.fromtimestamp(finished, UTC).timetuple()[:6]
        figures = summary(job, status)
        self._add("summary.json", json.dumps(figures, ensure_ascii=False, indent=2).encode())
        self._add("summary.html", summary_page.page(figures))
        for part in job.parts:
            self._add_part(job, part, status.outcomes[part.n])
        end = self._end()
        self._append(end)
        self.digest = sha256(end).hexdigest()

    def _add_part(self, job: Job, part: Part, outcome: Outcome) -> None:
        name = safe(part.written_name) + (PRODUCT["annotated"].archive or "")
        report = beside(part, PRODUCT["report"].archive)
        if outcome.reason is not None:
            self._add(beside(part, ".failed.txt"), f"{part.name}: {outcome.reason.message}\n".encode())
        elif outcome.pack:
            for inside, inner in ((name, "annotated"), (report, "report")):
                piece = outcome.pieces[inner]
                self._enter(inside, piece.stored, piece.size, piece.crc, deflated=piece.deflated)
                self._append((job.ref, outcome, inner), piece.stored)
        else:  # as earlier versions kept it
            annotated = self._store.result(job, part, outcome, "annotated")
            values = self._store.result(job, part, outcome, "report")
            if annotated is not None and values is not None:
                self._add(name, annotated, deflate=part.kind != "mxl")
                self._add(report, values)

    def _add(self, name: str, data: bytes, *, deflate: bool = True) -> None:
        lies: Stored = packs.stored(data, deflate=deflate)
        self._enter(name, len(lies.data), lies.size, lies.crc, deflated=deflate)
        self._append(lies.data)

    def _enter(self, name: str, stored: int, size: int, crc: int, *, deflated: bool) -> None:
        info = zipfile.ZipInfo(name, self._when)
        info.external_attr = 0o644 << 16
        info.compress_type = zipfile.ZIP_DEFLATED if deflated else zipfile.ZIP_STORED
        info.compress_size, info.file_size, info.CRC = stored, size, crc
        info.header_offset = self.size
        self._infos.append(info)
        self._append(info.FileHeader())

    def _append(self, data: bytes | Lying, size: int | None = None) -> None:
        size = len(data) if size is None else size
        if size:
            self._stretches.append(Stretch(self.size, size, data))
            self.size += size

    def _end(self) -> bytes:
        """The directory at the end, as zipfile writes it."""
        sink = _Sink(self.size)
        with zipfile.ZipFile(sink, "w") as archive:
            archive.filelist.extend(self._infos)
        return b"".join(sink.written)

    def readable(self) -> bool:
        """Yes."""
        return True

    def seekable(self) -> bool:
        """Yes."""
        return True

    def tell(self) -> int:
        """Where reading goes on."""
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """Go on reading elsewhere."""
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self.size}[whence]
        self._at = max(0, base + offset)
        return self._at

    def read(self, size: int = -1) -> bytes:
        """The next bytes, at most so many; all the rest by default."""
        end = self.size if size is None or size < 0 else min(self.size, self._at + size)
        found = []
        place = bisect_right(self._stretches, self._at, key=lambda stretch: stretch.at) - 1
        while self._at < end:
            stretch = self._stretches[place]
            data = stretch.data if isinstance(stretch.data, bytes) else self._fetch(place)
            piece = data[self._at - stretch.at : end - stretch.at]
            found.append(piece)
            self._at += len(piece)
            place += 1
        return b"".join(found)

    def _fetch(self, place: int) -> bytes:
        """A result from the store; those that come next are fetched with it."""
        if place not in self._fetched:
            coming = list(self._coming(place))
            lying = self._store.lying([wanted for _, wanted in coming])
            self._fetched = {}
            for (at, _), data in zip(coming, lying, strict=True):
                if data is None or len(data) != self._stretches[at].size:
                    raise OSError("a result is not in the store any more")
                self._fetched[at] = data
        return self._fetched[place]

    def _coming(self, place: int) -> Iterator[tuple[int, Lying]]:
        total = count = 0
        for at in range(place, len(self._stretches)):
            stretch = self._stretches[at]
            if isinstance(stretch.data, bytes):
                continue
            yield at, stretch.data
            total, count = total + stretch.size, count + 1
            if total > READ_AT_ONCE or count == PIECES_AT_ONCE:
                return


class _Sink(io.RawIOBase):
    """Takes what zipfile writes at the end of an archive of which so many bytes are written."""

    def __init__(self, before: int) -> None:
        super().__init__()
        self._at = before
        self.written: list[bytes] = []

    def writable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def write(self, data: Any) -> int:
        self.written.append(bytes(data))
        self._at += len(data)
        return len(data)


def beside(part: Part, suffix: str | None) -> str:
    """A name beside a part's own; with the part's whole name in it, for `a.xml` may lie beside `a.mxl`."""
    return safe(part.name) + (suffix or "")


def summary(job: Job, status: Status) -> dict[str, Any]:
    """The job in figures: what was asked, what became of each part."""
    return {
        "schema": "crookline.summary/1",
        "job": job.id,
        "state": status.state,
        "created": datetime.fromtimestamp(job.created, UTC).isoformat(timespec="seconds"),
        "options": dict(job.options),
        "counts": status.counts(job),
        "parts": [_line(part, status.outcomes[part.n]) for part in job.parts],
        "skipped": [{"name": name, "reason": reason} for name, reason in job.skipped],
    }


def _line(part: Part, outcome: Outcome) -> dict[str, Any]:
    return {
        "n": part.n,
        "name": part.name,
        "state": outcome.state,
        "cached": outcome.cached,
        "seconds": outcome.took,
        "reason": asdict(outcome.reason) if outcome.reason else None,
        "summary": dict(outcome.summary),
    }
