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
from workers import results
from workers.context import Context
from workers.jobs import Job, Part


@dataclass(frozen=True, slots=True)
class Product:
    """Something to be made of a part: its name (also in the address), words for it, and how."""

    name: str
    words: str
    make: Callable[[bytes, annotator.Options, str], bytes]


@dataclass(frozen=True, slots=True)
class Made:
    """What came of the making: the SHA-256 of the file, or why there is none."""

    sha256: str = ""
    fault: str = ""


def _transposed(data: bytes, options: annotator.Options, name: str) -> bytes:
    from annotator.sheets.transposed import transposed_part  # noqa: PLC0415 - most parts are never transposed

    return transposed_part(data, replace(options, mark=()), name)


PRODUCTS = {
    product.name: product
    for product in (Product("transposed", "The whole part written out for the instrument", _transposed),)
}


def file_name(part: Part, product: str) -> str:
    """Where a product of a part is kept in the job's folder."""
    return f"{part.output}/{product}.{part.kind}"


def made(context: Context, job: Job, part: Part, product: str) -> Made | None:
    """What came of making a product, or None when it has not been made."""
    data = context.store.get(job.ref, f"{part.output}/{product}.made.json")
    return Made(**json.loads(data)) if data is not None else None


def make(context: Context, ref: str, n: int, product: str) -> None:
    """Make a product of a part and tell those who wait for it. May be done twice."""
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
            context.store.put(ref, file_name(part, product), data)
            result = {"sha256": sha256(data).hexdigest()}
        context.store.put(ref, f"{part.output}/{product}.made.json", json.dumps(result).encode())
    context.live.tell_made(job, part, product)
