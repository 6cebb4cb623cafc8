"""Results by content: the same file with the same options is computed once.

A result is not kept a second time: Redis remembers in which job it lies. What Redis has forgotten, or
what was removed with its job, is computed again.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from functools import cache, lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Any, cast

import orjson
import redis

import annotator
from annotator.fingering.profile import load_profile
from annotator.instruments import load
from annotator.reading.overrides import read_crook_option
from workers import packs
from workers.jobs import Outcome
from workers.packs import Stored
from workers.store import Store
from workers.stored import Unreadable, outcome_from_json, outcome_to_json

KEY = "crookline:result:"


@cache
def library_fingerprint() -> str:
    """A hash over the library's code and tables: another library may come to other results."""
    whole = sha256()
    root = Path(annotator.__file__).parent
    for path in sorted([*root.rglob("*.py"), *root.rglob("*.toml")]):
        whole.update(f"{path.relative_to(root)}\0".encode())
        whole.update(path.read_bytes())
    return whole.hexdigest()


def address(digest: str, options: annotator.Options) -> str:
    """The key of the result for a file (its SHA-256) with these options."""
    return sha256(f"{library_fingerprint()}\0{digest}\0{_asked(options)}".encode()).hexdigest()


@lru_cache(64)
def _asked(options: annotator.Options) -> str:
    # The plan is made of marked parts' files, not marked into them.
    return json.dumps(asdict(replace(options, plan=())), sort_keys=True)


@dataclass(frozen=True, slots=True)
class Known:
    """A result computed before: the job (``owner/id``) and the outcome whose pack it lies in."""

    ref: str
    outcome: Outcome


def known(connection: redis.Redis, keys: Sequence[str]) -> dict[str, Known]:
    """Which of these results have been computed before, by key. Without Redis none is known."""
    found = {}
    with suppress(redis.RedisError):
        notes = cast("list[str | None]", connection.mget([KEY + key for key in keys])) if keys else []
        for key, note in zip(keys, notes, strict=True):
            ref, _, outcome = (note or "").partition(" ")
            with suppress(Unreadable):
                if outcome:
                    found[key] = Known(ref, outcome_from_json(outcome))
    return found


def recall(
    store: Store, known: Known, name: str, player: str = ""
) -> tuple[Stored, bytes, dict[str, Any]] | None:
    """A result computed before: the marked file as it is to lie in a pack, and its report (as JSON, and as
    it reads) under the name the file has this time, for the player it is for; None when it is gone."""
    annotated, report = known.outcome.pieces["annotated"], known.outcome.pieces["report"]
    try:
        lying = store.lying([(known.ref, known.outcome, "annotated"), (known.ref, known.outcome, "report")])
        if lying[0] is None or lying[1] is None:
            return None
        values = orjson.loads(packs.plain(lying[1], report))
        packs.plain(lying[0], annotated)
    except OSError:  # it can be computed again
        return None
    values["source"]["name"] = name
    values.pop("player", None)
    if player:
        values["player"] = player
    data = Stored(lying[0], annotated.size, annotated.crc, annotated.deflated)
    return data, orjson.dumps(values), values


def keep(pipe: Any, results: Mapping[str, Known], seconds: float) -> None:
    """Remember where results lie (by key), for so long."""
    for key, result in results.items():
        note = f"{result.ref} {outcome_to_json(result.outcome).decode()}"
        pipe.set(KEY + key, note, ex=max(1, int(seconds)))


def options_of(values: Mapping[str, Any]) -> annotator.Options:
    """The library's options for those of a job. Raises BadOption for anything the library would refuse.

    A name of an instrument or a profile is one that comes with the program, never a path.
    """
    options = annotator.Options.from_mapping(values)
    load(str(options.instrument))
    for name in options.plan:
        try:
            load(name)
        except annotator.BadOption as error:
            raise annotator.BadOption(error.message, field="plan") from None
    if isinstance(options.profile, str):
        load_profile(options.profile)
    read_crook_option(options.crook)
    return options
