"""Which parts of a job are sent together.

A message costs the queue some milliseconds, about as much as the work on a short part; so the parts of
a large job go in batches. A batch is worked off in a fraction of a second, so that a study sent
meanwhile soon finds a free worker, and there are enough of them for many workers.
"""

from __future__ import annotations

from collections.abc import Iterable

from workers.jobs import Job, Part

# Marking takes about 0.2 ms for each thousand bytes, so this is 0.1 to 0.2 s of work.
BATCH_BYTES = 600_000
BATCH_PARTS = 32
LEAST_BATCHES = 16
# What a worker has not come to after so many seconds, it gives back to the queue.
BATCH_SECONDS = 0.3


def split(job: Job, numbers: Iterable[int] | None = None) -> list[list[int]]:
    """All parts of a job, or those of the numbers, in batches."""
    parts = job.parts if numbers is None else [job.parts[n - 1] for n in numbers]
    if not job.bulk:
        return [[part.n] for part in parts]
    most = min(BATCH_BYTES, sum(part.size for part in parts) // LEAST_BATCHES)
    return [[part.n for part in batch] for batch in _filled(parts, most)]


def _filled(parts: Iterable[Part], most: int) -> Iterable[list[Part]]:
    batch: list[Part] = []
    size = 0
    for part in parts:
        if batch and (size + part.size > most or len(batch) == BATCH_PARTS):
            yield batch
            batch, size = [], 0
        batch.append(part)
        size += part.size
    if batch:
        yield batch
