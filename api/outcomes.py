"""What came of a part: for the routes that give it away, in whatever form."""

from __future__ import annotations

from annotator.registry.product_rows import Product
from api import access
from api.front import turn
from api.problems import Problem, not_ready
from workers import products, tasks
from workers.jobs import Job, Outcome, Part
from workers.status import Status, status
from workers.status import outcome as outcome_of

Result = tuple[Job, Part, Outcome]


def ended_part(job_id: str, n: int) -> Result:
    """The part the path names and its outcome, for who wants its results."""
    context = access.context()
    job = access.job(job_id)
    part = access.part(job, n)
    outcome = outcome_of(context, job, part)
    if outcome is None:
        raise not_ready(f"part {n} is not done yet")
    if outcome.reason is not None:
        reason = {
            "code": outcome.reason.code,
            "message": outcome.reason.message,
            "part": outcome.reason.part,
            "measure": outcome.reason.measure,
        }
        raise Problem(404, "part-failed", f"part {n} has no results: {outcome.reason.message}", reason=reason)
    return job, part, outcome


def ended_job(job_id: str) -> tuple[Job, Status]:
    """The job the path names and how it stands, for who wants what comes of all its parts. Raises Problem."""
    job = access.job(job_id)
    stands = status(access.context(), job)
    if job.unreadable:
        raise not_ready(f"what is kept of the job cannot be read: {job.unreadable}")
    if not stands.ended:
        waiting = len(job.parts) - len(stands.outcomes)
        raise not_ready(
            f"the job is {stands.state}; {waiting} of {len(job.parts)} parts are still to be done"
        )
    return job, stands


def await_product(job: Job, part: Part | None, product: Product) -> str:
    """Have something made of a part (None: of the job), unless it is there; gives its SHA-256.
    Raises Problem."""
    context = access.context()
    made = products.made(context, job, part, product.name)
    if made is None:
        here = turn()
        here.again = True
        if here.first:
            tasks.ask_for(job, part.n if part else 0, product.name, context)
        raise not_ready(f"the workers have not got round to it yet: {product.about}")
    if made.fault:
        raise Problem(422, "result-failed", made.fault)
    return made.sha256
