"""The work on one part: fetch it, have it marked, keep what came of it.

Everything here may run twice: a part that has an outcome is only announced again.
"""

from __future__ import annotations

import json
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Any

from billiard.exceptions import SoftTimeLimitExceeded

import annotator
from workers import logs, metrics, results
from workers.context import INSTANCE, Context, worker_name
from workers.jobs import Job, Outcome, Part, Reason, end_state

MAX_BEGINNINGS = 3
log = logs.logger(__name__)


@dataclass(frozen=True, slots=True)
class Marked:
    """What marking a part gave (``report`` as JSON), and the seconds each stage took."""

    data: bytes
    report: bytes
    summary: Mapping[str, Any]
    cached: bool
    seconds: dict[str, float]


def run(context: Context, ref: str, n: int, sent: float) -> Job | None:
    """Bring a part to its outcome. Gives the job if this was its last part, else None.

    Raises OSError or RedisError when the store or Redis cannot be reached: then try again.
    """
    job = context.store.job(ref)
    part = job.part(n) if job else None
    if job is None or part is None:
        log.info("job is gone")
        return None
    outcome = context.store.outcome(job, part)
    if outcome is None:
        outcome = _work(context, job, part, sent)
        if not context.store.has(ref):  # cancelled meanwhile; leave nothing of it behind
            context.store.remove(ref)
            return None
    if context.live.ended(job, part, outcome) < len(job.parts):
        return None
    return job if finish(context, job) else None


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


def _work(context: Context, job: Job, part: Part, sent: float) -> Outcome:
    started = time.time()
    waited = max(0.0, started - sent)
    begun = context.live.began(job, part, worker_name(), INSTANCE)
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
    metrics.part_ended(context.connection, outcome, stages)
    log.info(
        "part ended",
        state=outcome.state,
        cached=outcome.cached,
        seconds=outcome.took,
        reason=reason.code if reason else None,
    )
    return outcome


def _mark(context: Context, job: Job, part: Part) -> tuple[Marked | None, Reason | None]:
    options = results.options_of(job.options)
    start = time.perf_counter()
    where = results.address(part.sha256, options)
    known = results.recall(context.store.files, where, part.name)
    if known is not None:
        seconds = {"recall": time.perf_counter() - start}
        return Marked(known[0], known[1], known[2].get("summary", {}), True, seconds), None
    data = context.store.input(job, part)
    fetched = time.perf_counter()
    try:
        annotated = annotator.annotate(data, options, part.name)
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
    report = json.dumps(annotated.report, ensure_ascii=False).encode()
    results.keep(context.store.files, where, annotated.data, report)
    stages = {"fetch": fetched - start, "mark": done - fetched, "remember": time.perf_counter() - done}
    return Marked(annotated.data, report, annotated.report.get("summary", {}), False, stages), None


def _keep(context: Context, job: Job, part: Part, marked: Marked) -> Outcome:
    start = time.perf_counter()
    context.store.put(job.ref, f"{part.output}/annotated.{part.kind}", marked.data)
    context.store.put(job.ref, f"{part.output}/report.json", marked.report)
    marked.seconds["keep"] = time.perf_counter() - start
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
