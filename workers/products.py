"""What is made of a part or a job when somebody asks for it, besides the marked file and its report.

The work is done by a worker, once, and kept beside the part's results. What there is stands in
``annotator/registry/product_rows.py``.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from hashlib import sha256

import redis
from billiard.exceptions import SoftTimeLimitExceeded

import annotator
from annotator.importing.opening import is_imported, open_score
from annotator.products import MAKERS
from annotator.registry.product_rows import PRODUCT, Product
from workers import logs, plans
from workers import result_cache as results
from workers.context import Context
from workers.jobs import Job, Part
from workers.live import NOBODY, Runner
from workers.reasons import broken_off, reason_of, someone_is_at_it

log = logs.logger(__name__)

OF_JOB = "output/job"
JOB_MAKERS: Mapping[str, Callable[[Job, Callable[[Part], bytes]], bytes]] = {"plan": plans.plan}
"""How each product of a job comes of the job and what gives a part's score. A maker raises CrooklineError."""


@dataclass(frozen=True, slots=True)
class Made:
    """What came of the making: the SHA-256 of the file, or why there is none (``code`` for programs)."""

    sha256: str = ""
    fault: str = ""
    code: str = ""


def kind(product: Product, part: Part) -> str:
    """``musicxml`` or ``mxl``."""
    return part.kind if product.compressed else "musicxml"


def file(product: Product, part: Part) -> str:
    """Where a part's is kept in the job's folder."""
    return f"{part.output}/{product.name}.{kind(product, part)}"


def file_of_job(product: Product) -> str:
    """Where what is made of the whole job is kept in its folder."""
    return f"{OF_JOB}/{product.name}.json"


def made(context: Context, job: Job, part: Part | None, product: str) -> Made | None:
    """What came of making a product of a part, or (None) of the job; None when it has not been made."""
    data = context.store.get(job.ref, _note(part, product))
    try:
        values = json.loads(data) if data is not None else None
    except ValueError:
        return None  # damaged: it is made again
    return Made(**{name: str(values.get(name, "")) for name in Made.__slots__}) if values else None


def make(context: Context, ref: str, n: int, product: str, runner: Runner = NOBODY) -> None:
    """Make a product of a part, or (n = 0) of the job. May be done twice. Whatever goes wrong with it is
    recorded, so that it can be told; making that ends its process is tried a few times. Raises OSError or
    RedisError when the store or Redis cannot be reached."""
    job = context.store.job(ref)
    part = job.part(n) if job else None
    if job is None or (part is None and n):
        return
    if made(context, job, part, product) is None:
        begun = context.live.begin_product(job, part, product, runner)
        field = f"{n}:{product}"
        if begun.count < 0:
            return
        if someone_is_at_it(context, begun, runner):
            context.live.left(job, field, begun)
            return
        start = time.perf_counter()
        log.info("product begins", begun=begun.count)
        try:
            result = _make(context, job, part, product, begun.count)
            context.store.put(ref, _note(part, product), json.dumps(asdict(result)).encode())
        except (OSError, redis.RedisError, SoftTimeLimitExceeded):
            with suppress(redis.RedisError):
                context.live.not_begun(job, field)
            raise
        context.live.not_begun(job, field)
        log.info("product ended", reason=result.code or None, seconds=round(time.perf_counter() - start, 3))


def _make(context: Context, job: Job, part: Part | None, product: str, begun: int) -> Made:
    reason = broken_off(context, job, f"{part.n if part else 0}:{product}", begun)
    if reason is not None:
        return Made(fault=reason.message, code=reason.code)
    lies = {each.n: _fetched(context, job, each) for each in ([part] if part else job.parts)}
    start = time.perf_counter()
    try:
        if part is None:
            data = JOB_MAKERS[product](job, lambda each: _score(each, *lies[each.n]))
        else:
            options = results.options_of(job.asked(part))
            data = MAKERS[product](_score(part, *lies[part.n]), options, part.name)
        digest = sha256(data).hexdigest()
    except BaseException as error:
        reason = reason_of(context, job, error, time.perf_counter() - start)
        ours = isinstance(error, annotator.CrooklineError)
        return Made(fault=str(error) if ours else reason.message, code=reason.code)
    name = file(PRODUCT[product], part) if part else file_of_job(PRODUCT[product])
    context.store.put(job.ref, name, data)
    return Made(sha256=digest)


def _fetched(context: Context, job: Job, part: Part) -> tuple[bytes, bytes | None]:
    """A part's file as it came, and what was made of it where it had to be brought to MusicXML."""
    known = context.store.get(job.ref, part.score) if is_imported(part.name) else None
    return (b"" if known else context.store.input(job, part)), known


def _note(part: Part | None, product: str) -> str:
    return f"{part.output if part else OF_JOB}/{product}.made.json"


def _score(part: Part, source: bytes, known: bytes | None) -> bytes:
    """A part's file as MusicXML. Raises CrooklineError."""
    return known or open_score(source, part.name)[0]
