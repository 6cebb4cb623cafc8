"""What is made of a part when somebody asks for it, besides the marked file and its report.

The work is done by a worker, once, and kept beside the part's results. What there is stands in
``annotator/registry/product_rows.py``.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

import annotator
from annotator.importing.opening import is_imported, open_score
from annotator.products import MAKERS
from annotator.registry.product_rows import PRODUCT, Product
from workers import result_cache as results
from workers.context import Context
from workers.jobs import Job, Part


@dataclass(frozen=True, slots=True)
class Made:
    """What came of the making: the SHA-256 of the file, or why there is none."""

    sha256: str = ""
    fault: str = ""


def kind(product: Product, part: Part) -> str:
    """``musicxml`` or ``mxl``."""
    return part.kind if product.compressed else "musicxml"


def file(product: Product, part: Part) -> str:
    """Where a part's is kept in the job's folder."""
    return f"{part.output}/{product.name}.{kind(product, part)}"


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
            data = MAKERS[product](_score(context, job, part), results.options_of(job.asked(part)), part.name)
        except annotator.CrooklineError as error:
            result = {"fault": str(error)}
        else:
            context.store.put(ref, file(PRODUCT[product], part), data)
            result = {"sha256": sha256(data).hexdigest()}
        context.store.put(ref, f"{part.output}/{product}.made.json", json.dumps(result).encode())


def _score(context: Context, job: Job, part: Part) -> bytes:
    """A part's file as MusicXML. Raises CrooklineError."""
    known = context.store.get(job.ref, part.score) if is_imported(part.name) else None
    return known or open_score(context.store.input(job, part), part.name)[0]
