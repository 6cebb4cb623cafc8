"""The work on the parts of a message: fetch them, have them marked, keep what came of them.

Everything here may run twice: what has ended is left alone. What came of the parts goes to the store in
one pack when the message is worked off, and only then is it told.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from hashlib import sha256
from typing import Any

import orjson
import redis
import structlog
from billiard.exceptions import SoftTimeLimitExceeded

import annotator
from annotator.importing.opening import open_score
from workers import batches, logs, metrics, packs
from workers import result_cache as results
from workers.context import Context, worker_name
from workers.jobs import Job, Outcome, Part, Reason, end_state
from workers.live import NOBODY, Runner
from workers.outages import GaveUp
from workers.packs import Kept, Stored
from workers.reasons import broken_off, reason_of, someone_is_at_it
from workers.result_cache import Known

PACK_BYTES = 4_000_000
log = logs.logger(__name__)

GiveBack = Callable[[Job, list[int]], None]


@dataclass(frozen=True, slots=True)
class Marked:
    """What marking a part gave (``report`` as JSON), and the seconds each stage took."""

    data: Stored
    digest: str
    report: bytes
    summary: Mapping[str, Any]
    cached: bool
    seconds: dict[str, float]


@dataclass(slots=True)
class Batch:
    """Parts of a job worked on one after the other, no new one after ``until`` (of the monotonic clock);
    when they were sent, who is at them, and what has come of them but is not in the store yet."""

    job: Job
    parts: Sequence[Part]
    sent: float
    until: float = math.inf
    runner: Runner = NOBODY
    counted: metrics.Tally = field(default_factory=metrics.Tally)
    kept: list[Kept] = field(default_factory=list)
    took: list[Mapping[str, float]] = field(default_factory=list)
    inputs: dict[int, bytes] = field(default_factory=dict)
    known: dict[str, Known] = field(default_factory=dict)
    ended: int = 0

    @property
    def size(self) -> int:
        """How many bytes of results wait."""
        return sum(len(result.data) for one in self.kept for result in one.results.values())


class _Cancelled(Exception):
    """The job was removed while it was worked on."""


def run(
    context: Context,
    ref: str,
    numbers: Sequence[int],
    sent: float,
    give_back: GiveBack | None = None,
    *,
    runner: Runner = NOBODY,
) -> Job | None:
    """Bring some parts of a job to their outcomes. Gives the job if they were its last, else None.

    ``sent`` is when they were sent (seconds since 1970). With ``give_back``, what is not begun when
    BATCH_SECONDS are over is handed to it. Raises OSError or RedisError when the store or Redis cannot
    be reached: then try again.
    """
    taken = context.live.take(ref, numbers)
    job = None if taken.gone else (taken.known and context.store.remembered(ref)) or context.store.job(ref)
    given = [part for n in numbers if (part := job.part(n))] if job else []
    if job is None or not given:
        log.info("job is gone")
        return None
    ended = taken.ended if taken.known else context.store.outcomes(job)
    left = [part for part in given if part.n not in ended]
    until = time.monotonic() + batches.BATCH_SECONDS if give_back else math.inf
    batch = Batch(job, left, sent, until, runner, ended=taken.count if taken.known else len(ended))
    try:
        rest = _in_turn(context, batch)
    except _Cancelled:  # leave nothing of it behind
        context.store.remove(ref)
        return None
    except SoftTimeLimitExceeded:
        raise GaveUp(f"the store did not answer within {context.settings.task_seconds} seconds") from None
    finally:
        with suppress(redis.RedisError):  # what was counted before something broke
            batch.counted.add_to(context.connection)
    if rest and give_back:
        give_back(job, rest)
    if rest or batch.ended < len(job.parts):
        return None
    return job if finish(context, job) else None


def finish(context: Context, job: Job) -> bool:
    """Close a job all of whose parts have an outcome. False when some have none, or it is closed."""
    outcomes = context.live.outcomes(job.ref)
    if len(outcomes) < len(job.parts):
        outcomes = context.store.outcomes(job)
    if len(outcomes) < len(job.parts):
        return False
    first = context.store.end(job, outcomes)
    state = end_state(outcomes.values())
    context.live.job_ended(job, state)
    if first:
        log.info("job ended", state=state, parts=len(job.parts), seconds=round(time.time() - job.created, 3))
    return first


def _in_turn(context: Context, batch: Batch) -> list[int]:
    """The work on parts one after the other; gives those not come to.

    Between two parts there is one round trip: the one came through, the other begins.
    """
    live, job = context.live, batch.job
    _look_for_known(context, batch)
    at: Part | None = None
    try:
        for place, part in enumerate(batch.parts):
            if place and time.monotonic() > batch.until:
                _flush(context, batch)
                return [waiting.n for waiting in batch.parts[place:]]
            begun = live.begin(job, part, batch.runner, through=at)
            if begun.count < 0:
                raise _Cancelled
            if someone_is_at_it(context, begun, batch.runner):
                live.left(job, str(part.n), begun)
                continue
            at = part
            if begun.count > 1 or batch.size > PACK_BYTES:  # it may break off again: first keep what there is
                _flush(context, batch)
            with structlog.contextvars.bound_contextvars(part=part.n):
                batch.kept.append(_work(context, batch, part, begun.count))
        _flush(context, batch)
    except (OSError, redis.RedisError, SoftTimeLimitExceeded):
        with suppress(redis.RedisError):
            live.not_begun(job, *([str(at.n)] if at else []))
        raise
    return []


def _flush(context: Context, batch: Batch) -> None:
    """Keep what came of the parts so far, and tell of it."""
    if not batch.kept:
        return
    job = batch.job
    start = time.perf_counter()
    outcomes = context.store.put_pack(job, batch.kept)
    batch.counted.stage("keep", time.perf_counter() - start)
    for outcome, stages in zip(outcomes, batch.took, strict=True):
        batch.counted.part_ended(outcome, stages)
    batch.kept.clear()
    batch.took.clear()
    fresh = {
        _key(job, job.parts[outcome.n - 1]): Known(job.ref, outcome)
        for outcome in outcomes
        if outcome.state == "done" and not outcome.cached
    }

    def also(pipe: Any) -> None:
        batch.counted.add(pipe)
        results.keep(pipe, fresh, context.settings.keep_days * 86_400)

    told = [(job.parts[outcome.n - 1], outcome) for outcome in outcomes]
    batch.ended = context.live.ended(job, told, also)
    if batch.ended < 0:
        raise _Cancelled


def _key(job: Job, part: Part) -> str:
    return results.address(part.sha256, results.options_of(job.asked(part)))


def _look_for_known(context: Context, batch: Batch) -> None:
    keys = [_key(batch.job, part) for part in batch.parts if part.refused is None]
    batch.known = results.known(context.connection, keys)


def _work(context: Context, batch: Batch, part: Part, begun: int) -> Kept:
    job = batch.job
    started = time.time()
    waited = max(0.0, started - batch.sent)
    stages = {"wait": waited}
    marked: Marked | None = None
    log.info("part begins", name=part.name, size=part.size, begun=begun)
    if part.refused is not None:
        reason: Reason | None = part.refused
    else:
        reason = broken_off(context, job, str(part.n), begun)
        if reason is None:
            marked, reason = _mark(context, batch, part)
    if reason is not None and reason.code == "took-too-long":
        batch.until = 0.0  # what time is left for this message is too little for another part
    kept: dict[str, Stored] = {}
    if marked is None:
        outcome = Outcome(n=part.n, state="failed", finished=0.0, reason=reason)
    else:
        kept = {"annotated": marked.data, "report": packs.stored(marked.report)}
        outcome = Outcome(
            n=part.n,
            state="done",
            finished=0.0,
            cached=marked.cached,
            size=marked.data.size,
            sha256=marked.digest,
            report_sha256=sha256(marked.report).hexdigest(),
            summary=marked.summary,
        )
        stages |= marked.seconds
    ended = time.time()
    outcome = replace(
        outcome,
        finished=ended,
        waited=round(waited, 4),
        took=round(ended - started, 4),
        worker=worker_name(),
    )
    batch.took.append(stages)
    log.info(
        "part ended",
        state=outcome.state,
        cached=outcome.cached,
        seconds=outcome.took,
        size=part.size,
        reason=reason.code if reason else None,
    )
    return Kept(outcome, kept)


def _mark(context: Context, batch: Batch, part: Part) -> tuple[Marked | None, Reason | None]:
    job = batch.job
    options = results.options_of(job.asked(part))
    start = time.perf_counter()
    known = batch.known.get(_key(job, part))
    found = results.recall(context.store, known, part.name, part.player) if known else None
    if known and found:
        data, report, values = found
        seconds = {"recall": time.perf_counter() - start}
        summary = values.get("summary", {})
        return Marked(data, known.outcome.sha256, report, summary, True, seconds), None
    try:
        source = _input(context, batch, part)
    except FileNotFoundError:
        if not context.store.has(job.ref):
            raise _Cancelled from None
        return None, Reason("input-lost", "the file is not in the store any more; send it again")
    fetched = time.perf_counter()
    try:
        score, lost = open_score(source, part.name)
        annotated = annotator.annotate(score, options, part.name)
        annotated.report["warnings"][:0] = [finding.document() for finding in lost]
        done = time.perf_counter()
        if part.player:
            annotated.report["player"] = part.player
        report = orjson.dumps(annotated.report)
        data = packs.stored(annotated.data, deflate=part.kind != "mxl")
        digest = sha256(annotated.data).hexdigest()
    except BaseException as error:
        return None, reason_of(context, job, error, time.perf_counter() - fetched)
    if score is not source:
        context.store.put(job.ref, part.score, score)
    stages = {"fetch": fetched - start, "mark": done - fetched}
    return Marked(data, digest, report, annotated.report.get("summary", {}), False, stages), None


def _input(context: Context, batch: Batch, part: Part) -> bytes:
    """A part's file; those of the parts to come are fetched with it."""
    if part.n not in batch.inputs:
        batch.inputs.clear()
        coming = [other for other in batch.parts if other.n >= part.n and not other.refused]
        wanted = [other for other in coming if _key(batch.job, other) not in batch.known or other is part]
        batch.inputs |= context.store.inputs(batch.job, wanted if batch.job.together else [part])
    return batch.inputs.pop(part.n)
