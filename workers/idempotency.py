"""Idempotency-Keys: which request they came with, and the job it made. Kept in the store, like the jobs."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from hashlib import sha256
from typing import Any

from workers.files import Files
from workers.jobs import Part

FOLDER = "requests"


@dataclass(frozen=True, slots=True)
class Request:
    """What a request asked for (a digest over its files and fields), and the job's id."""

    job: str
    asked: str


def digest(parts: Iterable[Part], fields: Mapping[str, Any]) -> str:
    """A digest over what a request asks for."""
    files = [(part.name, part.sha256, part.refused is not None, dict(part.options)) for part in parts]
    return sha256(json.dumps([files, dict(fields)], sort_keys=True).encode()).hexdigest()


def claim(files: Files, owner: str, key: str, request: Request) -> Request:
    """Note a request under its key, or give the one noted before; of several at once one wins."""
    name = f"{FOLDER}/{owner}/{sha256(key.encode()).hexdigest()}"
    data = json.dumps({"schema": "crookline.request/1", **asdict(request)}).encode()
    if files.create(name, data):
        return request
    try:
        known = json.loads(files.read(name))
        return Request(str(known["job"]), str(known["asked"]))
    except (ValueError, KeyError, TypeError):  # damaged: as good as none
        files.write(name, data)
        return request
