"""What is made of a part when somebody asks for it, besides the marked file and its report.

To add one, add a row: the work is done by a worker, once, and kept beside the part's results.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Any

import annotator
from workers import result_cache as results
from workers.context import Context
from workers.jobs import Job, Part


@dataclass(frozen=True, slots=True)
class Product:
    """Something to be made of a part: its name (also in the address), words for it, and how.

    ``compressed``: whether an .mxl gives an .mxl; else it is always a plain score.
    """

    name: str
    words: str
    make: Callable[[bytes, annotator.Options, str], bytes]
    compressed: bool

    def kind(self, part: Part) -> str:
        """``musicxml`` or ``mxl``."""
        return part.kind if self.compressed else "musicxml"

    def file(self, part: Part) -> str:
        """Where a part's is kept in the job's folder."""
        return f"{part.output}/{self.name}.{self.kind(part)}"


@dataclass(frozen=True, slots=True)
class Made:
    """What came of the making: the SHA-256 of the file, or why there is none."""

    sha256: str = ""
    fault: str = ""


def _transposed(data: bytes, options: annotator.Options, name: str) -> bytes:
    from annotator.transposed import transposed_part  # noqa: PLC0415 - most parts are never transposed

    return transposed_part(data, replace(options, mark=()), name)


def _exercises(data: bytes, options: annotator.Options, name: str) -> bytes:
    from annotator.exercises.exercises import exercises  # noqa: PLC0415 - as above

    return exercises(data, options, name)


TRANSPOSED = Product("transposed", "the whole part written out for the instrument", _transposed, True)
EXERCISES = Product("exercises", "exercises from the part's worst crossings", _exercises, False)
PRODUCTS = {product.name: product for product in (TRANSPOSED, EXERCISES)}


def made(context: Context, job: Job, part: Part, product: str) -> Made | None:
    """What came of making a product, or None when it has not been made."""
    data = context.store.get(job.ref, f"{part.output}/{product}.made.json")
    return Made(**json.loads(data)) if data is not None else None


def make(context: Context, ref: str, n: int, product: str) -> None:
    """Make a product of a part . May be done twice."""
    job = context.store.job(ref)
    part = job.part(n) if job else None
    if job is None or part is None:
        return
    if made(context, job, part, product) is None:
        result: dict[str, Any]
        try:
            data = PRODUCTS[product].make(
                context.store.input(job, part), results.options_of(job.options), part.name
            )
        except annotator.CrooklineError as error:
            result = {"fault": str(error)}
        else:
            context.store.put(ref, PRODUCTS[product].file(part), data)
            result = {"sha256": sha256(data).hexdigest()}
        context.store.put(ref, f"{part.output}/{product}.made.json", json.dumps(result).encode())
