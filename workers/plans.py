"""The plan of a concert whose pieces are a job's files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import orjson
from billiard.exceptions import SoftTimeLimitExceeded

from annotator.errors import CrooklineError
from annotator.instruments import load
from workers import logs
from workers import result_cache as results
from workers.jobs import Job, Part

log = logs.logger(__name__)


class NothingToPlan(CrooklineError):
    """None of a job's files can be planned."""

    code = "nothing-to-plan"


def plan(job: Job, score: Callable[[Part], bytes]) -> bytes:
    """The plan as JSON, the job's files in their order; ``score`` gives a file as MusicXML.

    A file that cannot be planned is left out, and the plan says which and why. Raises NothingToPlan when that
    is true of all.
    """
    from annotator.concert.document import document  # noqa: PLC0415 - most jobs have no plan
    from annotator.concert.plan import plan_lines, read_pieces  # noqa: PLC0415

    case = [load(name) for name in results.options_of(job.options).plan]
    pieces = []
    left_out: list[tuple[str, str]] = []
    for part in job.parts:
        if part.refused is not None:
            left_out.append((part.name, part.refused.message))
            continue
        try:
            options = replace(results.options_of(job.asked(part)), plan=())
            pieces.append(read_pieces(part.name, score(part), case, options))
        except CrooklineError as error:
            left_out.append((part.name, str(error)))
        except (SoftTimeLimitExceeded, MemoryError):
            raise
        except Exception as error:  # a fault of ours in one piece must not cost the plan
            log.error("piece could not be planned", name=part.name, exc_info=error)
            left_out.append((part.name, "a fault in the program stopped the planning of this file"))
    if not pieces:
        raise NothingToPlan("; ".join(f"{name}: {reason}" for name, reason in left_out[:3]))
    made, *others = plan_lines(pieces, case)
    return orjson.dumps(document(made, left_out, others))
