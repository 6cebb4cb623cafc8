"""The service's settings: one frozen value, read from the environment.

A field ``store`` is set by ``CROOKLINE_STORE``, and so on for every field of ``Settings``.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import fields, replace
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, ValidationError
from pydantic.dataclasses import dataclass

from annotator.errors import CrooklineError
from workers.keys import Key, each_once, parse_keys

PREFIX = "CROOKLINE_"
MEGABYTE = 1_000_000


class BadSetting(CrooklineError):
    """A setting has a value it cannot have; the message names the environment variable."""

    code = "bad-setting"


def _keys(value: Any) -> Any:
    return parse_keys(value) if isinstance(value, str) else value


def _words(value: Any) -> Any:
    return tuple(value.replace(",", " ").split()) if isinstance(value, str) else value


Keys = Annotated[tuple[Key, ...], BeforeValidator(_keys), AfterValidator(each_once)]
Words = Annotated[tuple[str, ...], BeforeValidator(_words)]
AtLeastOne = Annotated[int, Field(ge=1)]
NotNegative = Annotated[int, Field(ge=0)]


@dataclass(frozen=True, slots=True)
class Settings:
    """How the service runs. Sizes in bytes, times in seconds unless the name says otherwise.

    ``redis_url``: empty means that the service starts a server of its own.
    ``store``: a folder, or a URL that fsspec knows (``s3://bucket/prefix``).
    ``keys``: what `crookline key` prints, separated by commas or spaces, or ``@FILE`` with one a line.
    ``keys_file``: that file, which is read anew when it has changed.
    ``operator_keys``: keys for /metrics, written in the same way; without any, an owner's key opens it.
    ``max_upload``: the size of one request; ``max_file``: of one score, unpacked; ``max_unpacked``: of all
    the scores of one request.
    ``workers``: how many parts are worked on at once; 0 means one per processor.
    ``small_parts``, ``small_bytes``: a job of at most so many parts and bytes goes through the small queue.
    ``lanes``: into how many lanes each queue is split, so that owners share fairly.
    ``task_seconds``: a part that takes longer is given up.
    ``task_memory``: a part that wants more bytes than this is given up; 0 for no limit.
    ``redelivery_seconds``: after this long the queue hands a message of a vanished worker out again.
    ``stale_seconds``: a part that no worker has and that waits in no queue is sent again after this long.
    ``owner_bytes``: of the scores of all the jobs that one key keeps; 0 for no limit.
    ``owner_parts``, ``queue_parts``: how many parts may wait or be worked on, of one key and in all.
    ``wrong_keys``: how many wrong keys one address may send before it has to wait.
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
    port: NotNegative = 8080
    keys: Keys = ()
    keys_file: str = ""
    operator_keys: Keys = ()
    workers: NotNegative = 0
    web_threads: AtLeastOne = 32
    max_upload: AtLeastOne = 200 * MEGABYTE
    max_file: AtLeastOne = 50 * MEGABYTE
    max_unpacked: AtLeastOne = 400 * MEGABYTE
    max_parts: AtLeastOne = 2000
    small_parts: NotNegative = 4
    small_bytes: NotNegative = 2 * MEGABYTE
    lanes: AtLeastOne = 4
    task_seconds: AtLeastOne = 120
    task_memory: NotNegative = 2000 * MEGABYTE
    redelivery_seconds: int = 600
    stale_seconds: float = 90.0
    stop_seconds: float = 60.0
    sweep_seconds: float = 30.0
    expire_seconds: float = 600.0
    keep_days: float = 7.0
    rate: str = "1200 per minute"
    upload_rate: int = 4000 * MEGABYTE
    owner_bytes: NotNegative = 20_000 * MEGABYTE
    owner_parts: NotNegative = 20_000
    queue_parts: NotNegative = 100_000
    wrong_keys: str = "30 per minute"
    streams: AtLeastOne = 1000
    owner_streams: AtLeastOne = 50
    hosts: Words = ()
    trusted_proxies: Words = ()
    cors_origins: Words = ()
    callback_private: bool = False
    callback_secret: str = ""
    callback_tries: AtLeastOne = 6
    callback_wait: float = 2.0
    log: Literal["auto", "json", "plain", "quiet"] = "auto"

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] | None = None) -> Settings:
        """Settings from ``CROOKLINE_…`` variables. Raises BadSetting, which names the variable."""
        source = os.environ if environment is None else environment
        given: dict[str, Any] = {}
        for field in fields(cls):
            text = source.get(variable(field.name), "").strip()
            if text:
                given[field.name] = text
        if given.get("keys", "").startswith("@"):
            given["keys_file"] = str(Path(given["keys"][1:]).absolute())
        elif "keys_file" in given and "keys" not in given:
            given["keys"] = f"@{given['keys_file']}"
        try:
            return cls(**given)
        except ValidationError as error:
            wrong = error.errors()[0]
            name = str(wrong["loc"][0])
            said = wrong["msg"].removeprefix("Value error, ")
            # A wrong key's own text stays out of the message.
            shown = "" if name in ("keys", "operator_keys") else f" is {given.get(name)!r}"
            raise BadSetting(f"{variable(name)}{shown}: {said[0].lower()}{said[1:]}") from None

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


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return " ".join(item.entry if isinstance(item, Key) else item for item in value)
    return str(value)
