"""``crookline admin``: what an operator looks at and does. Needs the settings of the service it is about."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

import click
import redis
from kombu.exceptions import OperationalError

from annotator.errors import CrooklineError
from workers import logs, operator, removal, tasks
from workers.context import Context, adopt
from workers.embedded import queue_of_store
from workers.settings import Settings


class NotThere(CrooklineError):
    """There is no such job."""

    code = "no-such-job"


@click.group(epilog="Example: crookline admin stuck")
@click.option("--store", metavar="PATH|URL", help="Default: CROOKLINE_STORE or ./store.")
@click.pass_context
def admin(ctx: click.Context, store: str | None) -> None:
    """Look after a running service: what is stuck, who uses what, send again, cancel.

    Takes the CROOKLINE_… variables the service has. One that runs a queue server of its own is found by its
    store.
    """
    settings = Settings.from_environment()
    if store:
        settings = replace(settings, store=store)
    settings = settings.with_absolute_store()
    if not settings.redis_url:
        settings = replace(settings, redis_url=queue_of_store(settings))
    logs.configure("quiet")
    ctx.obj = adopt(settings)
    if not operator.reaches_redis(ctx.obj):
        raise CrooklineError(
            "Redis does not answer: does the service run, and is CROOKLINE_REDIS_URL its own?"
        )


as_json = click.option("--json", "plain", is_flag=True, help="As JSON.")
ref_argument = click.argument("ref", metavar="OWNER/ID")


@admin.command()
@as_json
@click.pass_obj
def stuck(context: Context, plain: bool) -> None:
    """Jobs that are not finished, the oldest first, and where their parts are."""
    found = [asdict(one) for one in operator.unfinished(context)]
    strays = operator.strays(context)
    if plain:
        click.echo(json.dumps({"unfinished": found, "strays": strays}, indent=2))
        return
    click.echo(_table(found) if found else "Every job is finished.")
    for queue, length in strays.items():
        click.echo(f"{length} messages in {queue}, where no worker listens")


@admin.command()
@as_json
@click.pass_obj
def usage(context: Context, plain: bool) -> None:
    """What each owner keeps in the store."""
    found = operator.usage(context)
    if plain:
        click.echo(json.dumps(found, indent=2))
        return
    click.echo(_table([{"owner": owner, **values} for owner, values in found.items()]) or "Nothing is kept.")


@admin.command()
@as_json
@click.pass_obj
def workers(context: Context, plain: bool) -> None:
    """The workers that live, and how many parts each has in hand."""
    found = [
        {
            "name": worker.name,
            "host": worker.host,
            "version": worker.version,
            "parts in hand": len(worker.held),
            "queues": " ".join(worker.queues),
        }
        for worker in context.hands.workers().values()
    ]
    click.echo(json.dumps(found, indent=2) if plain else _table(found) or "No worker has been heard of.")


@admin.command()
@ref_argument
@click.pass_obj
def again(context: Context, ref: str) -> None:
    """Send the parts of a job that have no outcome to the workers again."""
    job = context.store.job(ref)
    if job is None or job.unreadable:
        raise NotThere(f"there is no job {ref!r} that can be read; write OWNER/ID as `stuck` shows it")
    ended = context.store.outcomes(job)
    numbers = [part.n for part in job.parts if part.n not in ended]
    try:
        tasks.send(job, context, numbers)
    except (OperationalError, redis.RedisError) as error:
        raise CrooklineError(f"the queue cannot be reached: {error}") from None
    click.echo(f"{len(numbers)} parts sent again")


@admin.command()
@ref_argument
@click.pass_obj
def cancel(context: Context, ref: str) -> None:
    """Remove a job and its files; what runs for it is ended."""
    if context.store.job(ref) is None:
        raise NotThere(f"there is no job {ref!r}; write OWNER/ID as `stuck` shows it")
    removal.remove(context, ref)
    click.echo(f"{ref} is removed")


def _table(rows: Sequence[Mapping[str, Any]]) -> str:
    """Rows under their names, in columns."""
    if not rows:
        return ""
    names = list(rows[0])
    lines = [names, *([str(row[name]) for name in names] for row in rows)]
    widths = [max(len(line[place]) for line in lines) for place in range(len(names))]
    texts = ("  ".join(word.ljust(width) for word, width in zip(line, widths, strict=True)) for line in lines)
    return "\n".join(text.rstrip() for text in texts)


if __name__ == "__main__":
    sys.exit(admin())
