"""The service's settings: one frozen value, read from the environment.

A field ``store`` is set by ``CROOKLINE_STORE``, and so on for every field of ``Settings``.
"""

from __future__ import annotations

import hmac
import os
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from hashlib import sha256
from pathlib import Path
from typing import Any

from annotator.errors import CrooklineError

PREFIX = "CROOKLINE_"
MEGABYTE = 1_000_000


class BadSetting(CrooklineError):
    """A setting has a value it cannot have; the message names the environment variable."""

    code = "bad-setting"


@dataclass(frozen=True, slots=True)
class Key:
    """Who may use the service: a name, and the SHA-256 of the secret (hexadecimal).

    The secret is 256 random bits (``crookline key``), so one plain hash is enough: there is
    nothing to guess that a slow hash would make slower.
    """

    name: str
    digest: str

    def opens(self, secret: str) -> bool:
        """Whether ``secret`` is this key's; takes the same time whichever character differs."""
        return hmac.compare_digest(sha256(secret.encode()).hexdigest(), self.digest)


@dataclass(frozen=True, slots=True)
class Settings:
    """How the service runs. Sizes in bytes, times in seconds unless the name says otherwise.

    ``redis_url``: empty means that the service starts a server of its own.
    ``store``: a folder, or a URL that fsspec knows (``s3://bucket/prefix``).
    ``keys``: ``name:sha256`` separated by commas or spaces, or ``@FILE`` with one a line.
    ``max_upload``: the size of one request; ``max_file``: of one score, unpacked; ``max_unpacked``: of all
    the scores of one request.
    ``workers``: how many parts are worked on at once; 0 means one per processor.
    ``small_parts``, ``small_bytes``: a job of at most so many parts and bytes goes through the small queue.
    ``lanes``: into how many lanes each queue is split, so that owners share fairly.
    ``task_seconds``: a part that takes longer is given up.
    ``task_memory``: a part that wants more bytes than this is given up; 0 for no limit.
    ``redelivery_seconds``: after this long the queue hands a message of a vanished worker out again.
    ``stale_seconds``: a part that no worker has and that waits in no queue is sent again after this long.
    ``stop_seconds``: how long an ending service lets the work at hand be finished.
    ``sweep_seconds``, ``expire_seconds``: how often lost work is looked for, and old jobs are removed.
    ``keep_days``: a job is removed this long after it was made.
    ``rate``, ``upload_rate``: requests, and uploaded bytes, that one key may use.
    ``streams``, ``owner_streams``: how many may follow jobs at once, in all and for one key.
    ``hosts``: the names under which the service is asked (``scores.example``); without keys those of this
    machine alone, with keys any where none are named.
    ``trusted_proxies``: addresses or networks of proxies whose word on address and scheme is believed.
    ``cors_origins``: web origins that a browser may call from; none by default.
    ``callback_private``: whether a callback may go to a private or loopback address.
    ``callback_secret``: signs the callbacks of jobs that bring no secret of their own.
    ``log``: ``json``, ``plain``, ``auto`` (plain on a terminal, else JSON), or ``quiet`` (errors only).
    ``callback_tries``, ``callback_wait``: how often a callback is tried; the first wait, doubled each time.
    """

    redis_url: str = ""
    store: str = "store"
    host: str = "127.0.0.1"
    port: int = 8080
    keys: tuple[Key, ...] = ()
    workers: int = 0
    web_threads: int = 32
    max_upload: int = 200 * MEGABYTE
    max_file: int = 50 * MEGABYTE
    max_unpacked: int = 400 * MEGABYTE
    max_parts: int = 2000
    small_parts: int = 4
    small_bytes: int = 2 * MEGABYTE
    lanes: int = 4
    task_seconds: int = 120
    task_memory: int = 2000 * MEGABYTE
    redelivery_seconds: int = 600
    stale_seconds: float = 90.0
    stop_seconds: float = 60.0
    sweep_seconds: float = 30.0
    expire_seconds: float = 600.0
    keep_days: float = 7.0
    rate: str = "1200 per minute"
    upload_rate: int = 4000 * MEGABYTE
    streams: int = 1000
    owner_streams: int = 50
    hosts: tuple[str, ...] = ()
    trusted_proxies: tuple[str, ...] = ()
    cors_origins: tuple[str, ...] = ()
    callback_private: bool = False
    callback_secret: str = ""
    callback_tries: int = 6
    callback_wait: float = 2.0
    log: str = "auto"

    def __post_init__(self) -> None:
        for name in (
            "max_upload",
            "max_file",
            "max_unpacked",
            "max_parts",
            "lanes",
            "web_threads",
            "task_seconds",
        ):
            if getattr(self, name) < 1:
                raise BadSetting(f"{variable(name)} must be at least 1, not {getattr(self, name)}")
        if self.log not in ("auto", "json", "plain", "quiet"):
            raise BadSetting(f"{variable('log')} is {self.log!r}; choose from auto, json, plain, quiet")
        names = [key.name for key in self.keys]
        for name in names:
            if names.count(name) > 1:
                raise BadSetting(f"{variable('keys')} has two keys named {name!r}; give each its own name")

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] | None = None) -> Settings:
        """Settings from ``CROOKLINE_…`` variables. Raises BadSetting, which names the variable."""
        source = os.environ if environment is None else environment
        defaults = cls()
        given: dict[str, Any] = {}
        for field in fields(cls):
            text = source.get(variable(field.name))
            if text is not None and text.strip():
                given[field.name] = _value(field.name, text.strip(), getattr(defaults, field.name))
        return replace(defaults, **given)

    def environment(self) -> dict[str, str]:
        """The variables that give these settings again, for a process started by this one."""
        return {variable(field.name): _text(getattr(self, field.name)) for field in fields(self)}

    def with_absolute_store(self) -> Settings:
        """The same, a store given as a relative folder made absolute."""
        if "://" in self.store:
            return self
        return replace(self, store=str(Path(self.store).expanduser().resolve()))


def variable(name: str) -> str:
    """The environment variable of a setting."""
    return PREFIX + name.upper()


def parse_keys(text: str) -> tuple[Key, ...]:
    """Keys from ``name:sha256, …`` or ``@FILE``. Raises BadSetting."""
    if text.startswith("@"):
        try:
            text = Path(text[1:]).read_text(encoding="utf-8")
        except OSError as error:
            raise BadSetting(f"{variable('keys')}: {text[1:]} cannot be read ({error.strerror})") from error
    keys = []
    for word in text.replace(",", " ").split():
        name, _, digest = word.partition(":")
        if not valid_owner(name):
            raise BadSetting(
                f"{variable('keys')}: {name!r} is no name for a key; use 1 to 40 letters, digits, '-' or '_'"
            )
        if len(digest) != 64 or set(digest) - set("0123456789abcdef"):
            raise BadSetting(
                f"{variable('keys')}: the key {name!r} needs the SHA-256 that `crookline key {name}` prints"
            )
        keys.append(Key(name, digest))
    return tuple(keys)


def valid_owner(name: str) -> bool:
    """Whether a name can stand as a key's name: it becomes a folder of the store."""
    return 1 <= len(name) <= 40 and name.isascii() and name.replace("-", "").replace("_", "").isalnum()


def _value(name: str, text: str, default: Any) -> Any:
    if name == "keys":
        return parse_keys(text)
    if isinstance(default, bool):
        if text.lower() not in ("1", "0", "yes", "no", "true", "false", "on", "off"):
            raise BadSetting(f"{variable(name)} is {text!r}; write yes or no")
        return text.lower() in ("1", "yes", "true", "on")
    if isinstance(default, tuple):
        return tuple(text.replace(",", " ").split())
    if isinstance(default, (int, float)):
        kind = type(default)
        try:
            return kind(text)
        except ValueError:
            what = "a whole number" if kind is int else "a number"
            raise BadSetting(f"{variable(name)} is {text!r}; write {what}") from None
    return text


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return " ".join(f"{item.name}:{item.digest}" if isinstance(item, Key) else item for item in value)
    return str(value)
