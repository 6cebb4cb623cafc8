"""Keys: who may use the service, with names, ends, and a file that is read anew when it has changed.

An entry is ``OWNER[/LABEL][@DATE]:SHA256``. An owner may have several secrets, each with a label of its own
(``library/desk``), so that one can be taken away or made anew while the others go on; ``@2027-06-30`` is the
last day (UTC) on which a secret opens. A secret is 256 random bits (``crookline key``), so one plain hash is
enough: there is nothing to guess that a slow hash would make slower.
"""

from __future__ import annotations

import hmac
import threading
import time
from dataclasses import dataclass
from datetime import UTC, date, datetime
from hashlib import sha256
from pathlib import Path

from workers import logs

LOOK_SECONDS = 1.0
log = logs.logger(__name__)


@dataclass(frozen=True, slots=True)
class Key:
    """One secret of an owner (``name``): the SHA-256 of it in hexadecimal, a label, its last day or None."""

    name: str
    digest: str
    label: str = ""
    until: date | None = None

    def opens(self, secret: str) -> bool:
        """Whether ``secret`` is this key's; takes the same time whichever character differs."""
        return hmac.compare_digest(sha256(secret.encode()).hexdigest(), self.digest)

    @property
    def entry(self) -> str:
        """The key as it stands in the setting."""
        label = f"/{self.label}" if self.label else ""
        until = f"@{self.until.isoformat()}" if self.until else ""
        return f"{self.name}{label}{until}:{self.digest}"


def parse_keys(text: str) -> tuple[Key, ...]:
    """Keys from entries separated by commas or white space, or from ``@FILE``. Raises ValueError.

    In a file, what follows ``#`` on a line is a comment.
    """
    if text.startswith("@"):
        try:
            text = Path(text[1:]).read_text(encoding="utf-8")
        except OSError as error:
            raise ValueError(f"{text[1:]} cannot be read ({error.strerror})") from error
        text = "\n".join(line.partition("#")[0] for line in text.splitlines())
    return tuple(_key(word) for word in text.replace(",", " ").split())


def _key(entry: str) -> Key:
    who, _, digest = entry.partition(":")
    who, _, until = who.partition("@")
    name, slash, label = who.partition("/")
    if not valid_owner(name) or (slash and not valid_owner(label)):
        raise ValueError(f"{who!r} is no name for a key; use 1 to 40 letters, digits, '-' or '_'")
    if len(digest) != 64 or set(digest) - set("0123456789abcdef"):
        raise ValueError(f"the key {who!r} needs the SHA-256 that `crookline key {who}` prints")
    try:
        return Key(name, digest, label, date.fromisoformat(until) if until else None)
    except ValueError:
        raise ValueError(f"the key {who!r} ends on {until!r}, which is no date like 2027-06-30") from None


def each_once(keys: tuple[Key, ...]) -> tuple[Key, ...]:
    """``keys``, each owner and label once. Raises ValueError."""
    names = [f"{key.name}/{key.label}".rstrip("/") for key in keys]
    for name in names:
        if names.count(name) > 1:
            raise ValueError(
                f"there are two keys named {name!r}; give each its own name, or a label: {name}/2"
            )
    return keys


def valid_owner(name: str) -> bool:
    """Whether a name can stand as a key's name: it becomes a folder of the store."""
    return 1 <= len(name) <= 40 and name.isascii() and name.replace("-", "").replace("_", "").isalnum()


class Keyring:
    """The keys in force. With a file, a change of it counts within a second. Safe for threads."""

    def __init__(self, keys: tuple[Key, ...], file: str = "") -> None:
        self._keys = keys
        self._file = Path(file) if file else None
        self._lock = threading.Lock()
        self._looked = time.monotonic()
        self._state = self._of_file()

    @property
    def wanted(self) -> bool:
        """Whether a key is asked for: a file from which all keys were taken lets nobody in."""
        return self._file is not None or bool(self._keys)

    def key_of(self, secret: str) -> Key | None:
        """The key that a secret is, unless it has ended."""
        self._look()
        today = datetime.now(UTC).date()
        # All are looked at, so that the time taken says nothing of which one it is.
        found = [key for key in self._keys if key.opens(secret)]
        return next((key for key in found if key.until is None or today <= key.until), None)

    def _look(self) -> None:
        if self._file is None or time.monotonic() - self._looked < LOOK_SECONDS:
            return
        with self._lock:
            self._looked = time.monotonic()
            state = self._of_file()
            if state == self._state:
                return
            try:
                self._keys = each_once(parse_keys(f"@{self._file}"))
            except ValueError as error:
                log.error("the keys stay as they were", reason=str(error))
            else:
                log.info("keys read anew", keys=len(self._keys))
            self._state = state

    def _of_file(self) -> tuple[int, int] | None:
        try:
            found = self._file.stat() if self._file else None
        except OSError:
            return None
        return (found.st_mtime_ns, found.st_size) if found else None
