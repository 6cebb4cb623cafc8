"""The tasks: thin, with ids for arguments. Each may run twice and does the same again."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import structlog

from workers import batches, callbacks, logs, outages, parts, products, queues, upkeep
from workers.app import app
from workers.context import INSTANCE, Context, context, worker_name
from workers.jobs import Job
from workers.live import Runner
from workers.requests import Watched
from workers.status import status

log = logs.logger(__name__)


@app.task(name="crookline.mark", bind=True, Request=Watched)  # type: ignore[untyped-decorator]
def mark(self: Any, ref: str, numbers: list[int]) -> None:
    """Mark those parts of a job; what takes too long all together is sent again."""
    here = context()

    def give_back(job: Job, rest: list[int]) -> None:
        _put(job, here, [rest])

    def work() -> None:
        sent = (self.request.headers or {}).get("sent") or time.time()
        ended = parts.run(here, ref, numbers, sent, give_back, runner=_runner(self))
        if ended is not None:
            job_ended(ended)

    with structlog.contextvars.bound_contextvars(job=ref):
        outages.waiting(self, work)


@app.task(name="crookline.make", bind=True, Request=Watched)  # type: ignore[untyped-decorator]
def make(self: Any, ref: str, n: int, product: str) -> None:
    """Make something of a part that somebody waits for."""
    with structlog.contextvars.bound_contextvars(job=ref, part=n, product=product):
        outages.waiting(self, lambda: products.make(context(), ref, n, product, _runner(self)))


def _runner(task: Any) -> Runner:
    return Runner(worker_name(), INSTANCE, str(task.request.id))


@app.task(name="crookline.tell", bind=True, max_retries=None)  # type: ignore[untyped-decorator]
def tell(self: Any, ref: str) -> None:
    """Tell the address a job brought along that the job has ended; again after a while if need be."""
    here = context()
    job = here.store.job(ref)
    if job is None or not job.callback_url or not callbacks.my_turn(here, ref, str(self.request.id)):
        return
    secret = job.callback_secret or here.settings.callback_secret
    with structlog.contextvars.bound_contextvars(job=ref, url=job.callback_url):
        try:
            sent = callbacks.message(job, status(here, job), secret, time.time())
            answer = callbacks.deliver(job.callback_url, sent, private=here.settings.callback_private)
        except callbacks.NotDelivered as error:
            tries = self.request.retries + 1
            again = error.again and tries < here.settings.callback_tries
            log.warning("callback not delivered", reason=error.message, tries=tries, again=again)
            if again:
                wait = here.settings.callback_wait * 2**self.request.retries
                callbacks.my_turn(here, ref, str(self.request.id), wait)
                raise self.retry(countdown=wait) from None
            callbacks.told(here, ref, error.message)
        else:
            callbacks.told(here, ref, "delivered")
            log.info("callback delivered", status=answer)


@app.task(name="crookline.sweep")  # type: ignore[untyped-decorator]
def sweep() -> None:
    """Find lost work. Where several schedulers run, one sweep at a time is enough."""
    here = context()
    with upkeep.alone(here, "sweep") as alone:
        if alone:
            upkeep.sweep(here, lambda job, numbers: send(job, here, numbers), job_ended)


@app.task(name="crookline.expire")  # type: ignore[untyped-decorator]
def expire() -> None:
    """Remove what is older than it is to be kept."""
    here = context()
    with upkeep.alone(here, "expire") as alone:
        if alone:
            upkeep.expire(here)


def send(job: Job, here: Context, numbers: list[int] | None = None) -> None:
    """Put a job's parts (or those of the numbers) into the queue. Raises kombu's OperationalError
    or RedisError when there is no queue; the job is in the store and a sweep sends it later."""
    _put(job, here, batches.split(job, numbers))


def _put(job: Job, here: Context, sent: Iterable[list[int]]) -> None:
    queue = queues.queue_of(job, here.settings)
    listed = list(sent)
    with app.producer_pool.acquire(block=True) as producer:
        for numbers in listed:
            headers = {"sent": time.time()}
            mark.apply_async((job.ref, numbers), queue=queue, producer=producer, headers=headers)
    here.live.queued(job, [n for numbers in listed for n in numbers])
    here.connection.sadd(queues.USED, queue)


def ask_for(job: Job, n: int, product: str, here: Context) -> None:
    """Let a worker make something of a part, ahead of the parts of large jobs."""
    queue = queues.queue_of(replace(job, bulk=False), here.settings)
    make.apply_async((job.ref, n, product), queue=queue, headers={"sent": time.time()})


def job_ended(job: Job) -> None:
    """What follows the end of a job: who asked for it is told; then nothing is left to do."""
    if job.callback_url:
        tell.apply_async((job.ref,), queue=queues.UPKEEP, headers={"sent": time.time()})
    context().store.settle(job.ref)
