"""How jobs and outcomes are written, and read again by whichever version.

Every value carries the version of its shape, ``crookline.job/1``. A version that adds fields keeps the
number, for readers take defaults for what is missing and leave alone what they do not know; so hosts may run
different versions for a while. The number changes when an older reader would misread the value; it
then says that it cannot read it. What is damaged raises Unreadable, and is that one job's trouble only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, Field, asdict, fields
from typing import Any, TypeVar

import orjson

from annotator.errors import CrooklineError
from workers.jobs import Job, Outcome, Part, Piece, Reason, id_time

T = TypeVar("T")
JOB, OUTCOME, OUTCOMES = "crookline.job/1", "crookline.outcome/1", "crookline.outcomes/1"
PLAIN: dict[str, tuple[type, ...]] = {
    "int": (int,),
    "float": (int, float),
    "str": (str,),
    "bool": (bool,),
    "str | None": (str, type(None)),
    "Mapping[str, Any]": (dict,),
}


class Unreadable(CrooklineError):
    """A stored value that this version cannot read."""

    code = "unreadable"


def job_to_json(job: Job) -> bytes:
    """As it stands in ``job.json``."""
    values = asdict(job)
    del values["unreadable"]
    return orjson.dumps({"schema": JOB, **values})


def job_from_json(data: bytes, ref: str) -> Job:
    """The job of a ``job.json`` that lies under ``owner/id``. Raises Unreadable."""
    owner, _, job_id = ref.partition("/")
    values = {"created": id_time(job_id), "options": {}, **_values(data, JOB)}
    values |= {"owner": owner, "id": job_id, "unreadable": ""}
    values["parts"] = tuple(_list(values, "parts", _part))
    if not values["parts"] or [part.n for part in values["parts"]] != [*range(1, len(values["parts"]) + 1)]:
        raise Unreadable("its parts are not all there")
    values["skipped"] = tuple((str(name), str(why)) for name, why in _pairs(values.get("skipped", [])))
    # Before there were versions, only large jobs had their files together, and each result was a file.
    old = "schema" not in values
    values = {"together": not old or values.get("bulk", False), "packed": not old} | values
    return _fill(Job, values)


def outcome_to_json(outcome: Outcome) -> bytes:
    """An outcome by itself."""
    return orjson.dumps(outcome_values(outcome))


def outcome_from_json(data: bytes | str) -> Outcome:
    """An outcome by itself. Raises Unreadable."""
    return outcome_of(_values(data, OUTCOME))


def outcomes_to_json(outcomes: Iterable[Outcome]) -> bytes:
    """Several outcomes, as they stand in ``ended.json`` and at the head of a pack."""
    return orjson.dumps({"schema": OUTCOMES, "outcomes": [outcome_values(outcome) for outcome in outcomes]})


def outcomes_from_json(data: bytes) -> list[Outcome]:
    """Several outcomes. Raises Unreadable."""
    values = _loads(data)
    if isinstance(values, list):  # as it was before there were versions
        values = {"outcomes": values}
    return _list(_checked(values, OUTCOMES), "outcomes", outcome_of)


def outcome_values(outcome: Outcome) -> dict[str, Any]:
    """An outcome as JSON values. (Not ``asdict``, which copies the summary with all in it.)"""
    values = {name: getattr(outcome, name) for name in Outcome.__slots__ if name != "more"}
    return {"schema": OUTCOME, **values, **outcome.more}


def outcome_of(values: dict[str, Any]) -> Outcome:
    """The outcome of its JSON values. Raises Unreadable."""
    values = dict(_checked(values, OUTCOME))
    values.pop("schema", None)
    values["reason"] = _fill(Reason, values["reason"]) if values.get("reason") else None
    pieces = values.get("pieces", {})
    if not isinstance(pieces, dict):
        raise Unreadable("`pieces` is no object")
    values["pieces"] = {name: _fill(Piece, piece) for name, piece in pieces.items()}
    known = {field.name for field in fields(Outcome)}
    more = {name: value for name, value in values.items() if name not in known}
    return _fill(Outcome, {**values, "more": more})


def _part(values: Any) -> Part:
    refused = values.get("refused") if isinstance(values, dict) else None
    return _fill(Part, values, refused=_fill(Reason, refused) if refused else None)


def _loads(data: bytes | str) -> Any:
    try:
        return orjson.loads(data)
    except orjson.JSONDecodeError as error:
        raise Unreadable(f"it is no JSON ({error})") from None


def _values(data: bytes | str, schema: str) -> dict[str, Any]:
    return _checked(_loads(data), schema)


def _checked(values: Any, schema: str) -> dict[str, Any]:
    if not isinstance(values, dict):
        raise Unreadable("it is no JSON object")
    found = values.get("schema", schema)
    if found != schema:
        raise Unreadable(f"it is written as {found!r}, and this version reads {schema!r}")
    return values


def _list(values: Mapping[str, Any], name: str, read: Callable[[Any], T]) -> list[T]:
    found = values.get(name)
    if not isinstance(found, list):
        raise Unreadable(f"`{name}` is no list")
    return [read(one) for one in found]


def _pairs(found: Any) -> Iterable[tuple[Any, Any]]:
    return [tuple(one) for one in found if isinstance(one, list) and len(one) == 2] if found else []


def _fill(kind: Callable[..., T], values: Any, **made: Any) -> T:
    """A value of a dataclass: known fields taken, missing ones left to their defaults."""
    if not isinstance(values, dict):
        raise Unreadable(f"{kind.__name__} is no JSON object")
    given = {}
    listed: tuple[Field[Any], ...] = fields(kind)  # type: ignore[arg-type]
    for field in listed:
        if field.name in made:
            given[field.name] = made[field.name]
        elif field.name in values:
            value = values[field.name]
            allowed = PLAIN.get(str(field.type))
            if allowed and not isinstance(value, allowed):
                raise Unreadable(f"`{field.name}` is {type(value).__name__}, not {field.type}")
            given[field.name] = value
        elif field.default is MISSING and field.default_factory is MISSING:
            raise Unreadable(f"`{field.name}` is missing")
    return kind(**given)
