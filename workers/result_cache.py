"""Results by content: the same file with the same options is computed once."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from functools import cache, lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Any

import orjson

import annotator
from annotator.fingering.profile import load_profile
from annotator.instruments import load
from annotator.reading.overrides import read_crook_option
from workers.files import Files

FOLDER = "results"


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
    """Where the result for a file (its SHA-256) with these options is kept."""
    key = sha256(f"{library_fingerprint()}\0{digest}\0{_asked(options)}".encode()).hexdigest()
    return f"{FOLDER}/{key[:2]}/{key}"


@lru_cache(64)
def _asked(options: annotator.Options) -> str:
    return json.dumps(asdict(options), sort_keys=True)


def recall(
    files: Files, where: str, name: str, player: str = ""
) -> tuple[bytes, bytes, dict[str, Any]] | None:
    """The result kept there: the marked file, its report (as JSON, and as it reads) under the name the
    file has this time, for the player it is for; or None."""
    try:
        report = orjson.loads(files.read(f"{where}.report.json"))
        data = files.read(f"{where}.annotated")
    except FileNotFoundError:
        return None
    report["source"]["name"] = name
    report.pop("player", None)
    if player:
        report["player"] = player
    return data, orjson.dumps(report), report


def keep(files: Files, where: str, data: bytes, report: bytes, kept: tuple[str, str]) -> None:
    """Keep a result whose file and report lie under the names ``kept`` already; the report last, for it
    vouches for the rest."""
    files.copy(kept[0], f"{where}.annotated", data)
    files.copy(kept[1], f"{where}.report.json", report)


def options_of(values: Mapping[str, Any]) -> annotator.Options:
    """The library's options for those of a job. Raises BadOption for anything the library would refuse.

    Instruments and profiles are those that come with the program: a name is never taken for a path.
    """
    options = annotator.Options.from_mapping(values)
    load(str(options.instrument))
    load_profile(options.profile)
    read_crook_option(options.crook)
    return options
