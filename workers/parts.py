"""The work on one part: fetch it, have it marked, keep what came of it.

Everything here may run twice: a part that has an outcome is only announced again.
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
from workers import logs, metrics
from workers import result_cache as results
from workers.batches import BATCH_SECONDS
from workers.context import INSTANCE, Context, worker_name
from workers.jobs import Job, Outcome, Part, Reason, end_state
from workers.live import Runner

MAX_BEGINNINGS = 3
log = logs.logger(__name__)

GiveBack = Callable[[Job, list[int]], None]


@dataclass(frozen=True, slots=True)
class Marked:
    """What marking a part gave (``report`` as JSON), the seconds each stage took, and where such a result
    is kept for the next time."""

    data: bytes
    report: bytes
    summary: Mapping[str, Any]
    cached: bool
    seconds: dict[str, float]
    where: str


@dataclass(frozen=True, slots=True)
class Batch:
    """Parts of a job worked on one after the other, no new one after ``until`` (of the monotonic clock);
    when they were sent, and what is counted on the way."""

    job: Job
    parts: Sequence[Part]
    sent: float
    until: float = math.inf
    counted: metrics.Tally = field(default_factory=metrics.Tally)


class _Cancelled(Exception):
    """The job was removed while it was worked on."""


def run(
    context: Context, ref: str, numbers: Sequence[int], sent: float, give_back: GiveBack | None = None
) -> Job | None:
    """Bring some parts of a job to their outcomes. Gives the job if its last part was among them, else None.

    ``sent`` is when they were sent (seconds since 1970). With ``give_back``, what is not begun when
    BATCH_SECONDS are over is handed to it. Raises OSError or RedisError when the store or Redis cannot
    be reached: then try again.
    """
    job = context.store.job(ref)
    given = [part for n in numbers if (part := job.part(n))] if job else []
    if job is None or not given:
        log.info("job is gone")
        return None
    until = time.monotonic() + BATCH_SECONDS if give_back else math.inf
    batch = Batch(job, given, sent, until)
    try:
        rest, ended = _in_turn(context, batch)
    except _Cancelled:  # leave nothing of it behind
        context.store.remove(ref)
        context.live.forget(ref)
        return None
    finally:
        with suppress(redis.RedisError):  # what was counted before something broke
            batch.counted.add_to(context.connection)
    if rest and give_back:
        give_back(job, rest)
    if ended < len(job.parts):
        return None
    return job if finish(context, job) else None


def _in_turn(context: Context, batch: Batch) -> tuple[list[int], int]:
    """The work on parts one after the other; gives those not come to, and how many of the job have ended.

    Between two parts there is one round trip: the end of the one and the beginning of the other.
    """
    live, job, counted = context.live, batch.job, batch.counted
    here = Runner(worker_name(), INSTANCE)
    over: tuple[Part, Outcome] | None = None
    held = [part.n for part in batch.parts[1:]]
    for place, part in enumerate(batch.parts):
        if place and time.monotonic() > batch.until:
            rest = [waiting.n for waiting in batch.parts[place:]]
            return rest, live.step(job, over=over, dropped=rest, also=counted.add).ended
        outcome = context.store.outcome(job, part)
        if outcome is None:
            begun = live.step(job, over=over, begins=part, held=held, runner=here).begun
            with structlog.contextvars.bound_contextvars(part=part.n):
                outcome = _work(context, batch, part, begun)
            if not context.store.has(job.ref):
                raise _Cancelled
        elif over:
            live.step(job, over=over)
        over, held = (part, outcome), []
    return [], live.step(job, over=over, also=counted.add).ended


def finish(context: Context, job: Job) -> bool:
    """Close a job all of whose parts have an outcome. False when some have none, or it is closed."""
    outcomes = context.live.outcomes(job.ref)
    if len(outcomes) < len(job.parts):
        outcomes = context.store.outcomes(job)
    if len(outcomes) < len(job.parts):
        return False
    context.store.end(job, outcomes.values())
    state = end_state(outcomes.values())
    context.live.job_ended(job, state)
    log.info("job ended", state=state, parts=len(job.parts), seconds=round(time.time() - job.created, 3))
    return True


def _work(context: Context, batch: Batch, part: Part, begun: int = 1) -> Outcome:
    job = batch.job
    started = time.time()
    waited = max(0.0, started - batch.sent)
    stages = {"wait": waited}
    marked: Marked | None = None
    if part.refused is not None:
        reason: Reason | None = part.refused
    elif begun > MAX_BEGINNINGS:
        reason = Reason(
            "worker-lost", f"the work on this file broke off {MAX_BEGINNINGS} times without a result"
        )
    else:
        marked, reason = _mark(context, job, part)
    if marked is None:
        outcome = Outcome(n=part.n, state="failed", finished=0.0, reason=reason)
    else:
        outcome = _keep(context, job, part, marked)
        stages |= marked.seconds
    ended = time.time()
    outcome = replace(
        outcome,
        finished=ended,
        waited=round(waited, 4),
        took=round(ended - started, 4),
        worker=worker_name(),
    )
    context.store.put_outcome(job, outcome)
    batch.counted.part_ended(outcome, stages)
    log.info(
        "part ended",
        state=outcome.state,
        cached=outcome.cached,
        seconds=outcome.took,
        reason=reason.code if reason else None,
    )
    return outcome


def _mark(context: Context, job: Job, part: Part) -> tuple[Marked | None, Reason | None]:
    options = results.options_of(job.asked(part))
    start = time.perf_counter()
    where = results.address(part.sha256, options)
    known = results.recall(context.store.files, where, part.name, part.player)
    if known is not None:
        seconds = {"recall": time.perf_counter() - start}
        return Marked(known[0], known[1], known[2].get("summary", {}), True, seconds, where), None
    data = context.store.input(job, part)
    fetched = time.perf_counter()
    try:
        score, lost = open_score(data, part.name)
        if score is not data:
            context.store.put(job.ref, part.score, score)
        annotated = annotator.annotate(score, options, part.name)
        annotated.report["warnings"][:0] = [finding.document() for finding in lost]
    except annotator.CrooklineError as error:
        return None, Reason(error.code, error.message, error.part, error.measure)
    except SoftTimeLimitExceeded:
        limit = context.settings.task_seconds
        return None, Reason("took-too-long", f"the work on this file was given up after {limit} seconds")
    except Exception:  # a fault of ours in one part must not cost the others
        log.exception("part failed unexpectedly")
        return None, Reason(
            "internal-error",
            f"a fault in the program stopped the work on this file; the log tells more under job {job.id}",
        )
    done = time.perf_counter()
    if part.player:
        annotated.report["player"] = part.player
    report = orjson.dumps(annotated.report)
    stages = {"fetch": fetched - start, "mark": done - fetched}
    return Marked(annotated.data, report, annotated.report.get("summary", {}), False, stages, where), None


def _keep(context: Context, job: Job, part: Part, marked: Marked) -> Outcome:
    start = time.perf_counter()
    store = context.store
    annotated, report = f"{part.output}/annotated.{part.kind}", f"{part.output}/report.json"
    store.put(job.ref, annotated, marked.data)
    store.put(job.ref, report, marked.report)
    done = time.perf_counter()
    marked.seconds["keep"] = done - start
    if not marked.cached:
        kept = (store.path(job.ref, annotated), store.path(job.ref, report))
        results.keep(store.files, marked.where, marked.data, marked.report, kept)
        marked.seconds["remember"] = time.perf_counter() - done
    return Outcome(
        n=part.n,
        state="done",
        finished=0.0,
        cached=marked.cached,
        size=len(marked.data),
        sha256=sha256(marked.data).hexdigest(),
        report_sha256=sha256(marked.report).hexdigest(),
        summary=marked.summary,
    )
