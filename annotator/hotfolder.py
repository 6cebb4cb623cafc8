"""A folder that is watched: every score put into it is marked once, when it is fully written.

What has been done stands in ``.crookline-done`` in the folder of the results, a line of JSON for each
file; so nothing is done twice over a restart, even when the results have been moved away.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from hashlib import sha256
from pathlib import Path

from annotator.annotation import annotate
from annotator.errors import CrooklineError
from annotator.options import Options
from annotator.whole_files import write_whole

SUFFIXES = (".musicxml", ".xml", ".mxl")
RECORD = ".crookline-done"
FAILED = ".failed"


@dataclass(frozen=True, slots=True)
class Done:
    """A file that has been dealt with. ``stamp``: its size and time of change, ``asked``: the options."""

    name: str
    sha256: str
    stamp: tuple[int, int]
    asked: str
    reason: str = ""


@dataclass(slots=True)
class _Seen:
    stamp: tuple[int, int]
    since: float


@dataclass(slots=True)
class HotFolder:
    """``source`` is watched, results go to ``target`` under the same names.

    ``settle``: for so many seconds a file must not change before it counts as fully written.
    """

    source: Path
    target: Path
    options: Options
    settle: float = 1.0
    _done: dict[str, Done] = field(default_factory=dict)
    _seen: dict[str, _Seen] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Read what has been done before. Raises OSError."""
        self.target.mkdir(parents=True, exist_ok=True)
        record = self.target / RECORD
        if record.exists():
            text = record.read_text(encoding="utf-8", errors="replace")
            if text and not text.endswith("\n"):
                with record.open("a", encoding="utf-8") as stream:
                    stream.write("\n")
            for line in text.split("\n"):
                try:
                    values = json.loads(line)
                    done = Done(**{**values, "stamp": tuple(values["stamp"])})
                except (ValueError, TypeError, KeyError):
                    continue  # a line broken off in the middle: its file is done again
                self._done[done.name] = done

    def look(self, stopped: Callable[[], bool] = lambda: False) -> Iterator[Done]:
        """Deal with the files that are new and fully written; gives each when it is done."""
        now = time.monotonic()
        present = set()
        for path in sorted(self._files()):
            name = path.relative_to(self.source).as_posix()
            present.add(name)
            try:
                status = path.stat()
            except OSError:
                continue  # gone again
            stamp = (status.st_size, status.st_mtime_ns)
            seen = self._seen.get(name)
            if seen is None or seen.stamp != stamp:
                self._seen[name] = seen = _Seen(stamp, now)
            known = self._done.get(name)
            if known is not None and known.stamp == stamp and known.asked == self._asked:
                continue
            if now - seen.since < self.settle or stopped():
                continue
            done = self._deal_with(path, name, stamp)
            if done is not None:
                yield done
        self._seen = {name: seen for name, seen in self._seen.items() if name in present}

    @property
    def waiting(self) -> bool:
        """Whether there are files that have been seen and not dealt with yet."""
        return any(
            name not in self._done
            or self._done[name].stamp != seen.stamp
            or self._done[name].asked != self._asked
            for name, seen in self._seen.items()
        )

    @property
    def _asked(self) -> str:
        return sha256(json.dumps(asdict(self.options), sort_keys=True, default=str).encode()).hexdigest()[:16]

    def _files(self) -> Iterator[Path]:
        target = self.target.resolve()
        for path in self.source.rglob("*"):
            inside = path.relative_to(self.source).parts
            hidden = any(piece.startswith(".") for piece in inside)
            if path.suffix.lower() in SUFFIXES and not hidden and path.is_file():
                if target != self.source.resolve() and path.resolve().is_relative_to(target):
                    continue
                yield path

    def _deal_with(self, path: Path, name: str, stamp: tuple[int, int]) -> Done | None:
        note = self.target / (name + FAILED)
        reason = ""
        digest = ""
        try:
            data = path.read_bytes()
            digest = sha256(data).hexdigest()
            known = self._done.get(name)
            if known is not None and known.sha256 == digest and known.asked == self._asked:
                # Only touched: the same bytes with the same options have been dealt with.
                self._record(Done(name, digest, stamp, self._asked, known.reason))
                return None
            marked = annotate(data, self.options, name)
            write_whole(self.target / name, marked.data)
            report = json.dumps(marked.report, ensure_ascii=False, indent=1)
            write_whole(self.target / f"{name}.report.json", report.encode())
            note.unlink(missing_ok=True)
        except CrooklineError as error:
            reason = str(error)
        except OSError as error:
            reason = f"it cannot be read or its result not be written: {error.strerror or error}"
        except Exception as error:  # a fault of ours in one file must not stop the watch
            reason = (
                f"a fault in the program ({type(error).__name__}: {error}); please report it with the file"
            )
        done = Done(name, digest, stamp, self._asked, reason)
        # On a full disk neither of these may succeed: the watch goes on, and tells who listens.
        with suppress(OSError):
            if reason:
                write_whole(note, f"{name}: {reason}\n".encode())
        with suppress(OSError):
            self._record(done)
        return done

    def _record(self, done: Done) -> None:
        self._done[done.name] = done
        with (self.target / RECORD).open("a", encoding="utf-8") as stream:
            stream.write(json.dumps(asdict(done), ensure_ascii=True) + "\n")
