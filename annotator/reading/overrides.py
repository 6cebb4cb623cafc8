"""The crook option: ``auto``, ``infer``, a crook, or crooks with measure ranges."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise

from annotator.errors import BadOption
from annotator.reading.crooks import CROOKS, Crook
from annotator.reading.names import read_heading
from annotator.reading.vocabulary import normalise
from annotator.score.model import Part

_ENTRY = re.compile(
    r"\s*(?P<crook>[^@]+?)\s*(?:@\s*(?P<first>[^-\s]+)\s*(?P<dash>-)?\s*(?P<last>[^-\s]+)?\s*)?\Z"
)
_LONGEST = 2000
_BY_WORDS = {normalise(word): crook for crook in CROOKS for word in (crook.id, crook.name)}


@dataclass(frozen=True, slots=True)
class Override:
    """A crook the user names, for measures ``first`` to ``last`` as the file numbers them.

    ``first`` None: from the beginning; ``last`` None: to the end.
    """

    crook: Crook
    first: str | None
    last: str | None
    text: str


@dataclass(frozen=True, slots=True)
class Span:
    """An override placed in a part: measure indices, the last one included."""

    crook: Crook
    first: int
    last: int
    text: str


def crook_by_name(name: str) -> Crook:
    """The crook of an id or a name as in headings (``Eb``, ``E♭``, ``Es``, ``high G``). Raises BadOption.

    ``B`` is B♭, as it is in a heading; B♮ is ``H``, ``B♮`` or ``B natural``.
    """
    crook = _BY_WORDS.get(normalise(name))
    heading = read_heading(f"trumpet in {name}")
    if heading is not None and not heading.also and (crook is None or crook in heading.may_be):
        crook = heading.crook
    if crook is None:
        raise BadOption(
            f"there is no crook {name!r}; the crooks are {', '.join(each.name for each in CROOKS)}",
            field="crook",
        )
    return crook


def read_crook_option(option: str) -> tuple[Override, ...]:
    """The overrides in ``option``; none for ``auto`` and ``infer``. Raises BadOption."""
    if option.strip().lower() in ("auto", "infer"):
        return ()
    if len(option) > _LONGEST:
        raise BadOption(f"the crook option has more than {_LONGEST} characters", field="crook")
    overrides = []
    for text in option.split(","):
        match = _ENTRY.match(text)
        if match is None or not text.strip():
            raise BadOption(
                f"{text.strip()!r} is no crook with measures; write for example F@1-84,C@85-", field="crook"
            )
        first, last = match["first"], match["last"]
        if first is not None and match["dash"] is None:
            last = first
        overrides.append(Override(crook_by_name(match["crook"]), first, last, text.strip()))
    if len(overrides) > 1 and any(override.first is None for override in overrides):
        raise BadOption(
            f"{option!r} names several crooks; each needs its measures, for example F@1-84,C@85-",
            field="crook",
        )
    return tuple(overrides)


def place(overrides: tuple[Override, ...], part: Part) -> tuple[Span, ...]:
    """The overrides as measure indices of ``part``, in order.

    Raises BadOption where a number is not in the part, a range runs backwards, or two overlap.
    """
    spans = []
    last_index = max(len(part.measures) - 1, 0)
    for override in overrides:
        first = 0 if override.first is None else _index(part, override.first, override)
        last = last_index if override.last is None else _index(part, override.last, override, after=first)
        spans.append(Span(override.crook, first, last, override.text))
    spans.sort(key=lambda span: span.first)
    for before, after in pairwise(spans):
        if after.first <= before.last:
            raise BadOption(
                f"{before.text!r} and {after.text!r} overlap; give each measure one crook",
                field="crook",
                part=part.id,
                measure=part.measures[after.first].number,
            )
    return tuple(spans)


def _index(part: Part, number: str, override: Override, *, after: int = 0) -> int:
    for index in range(after, len(part.measures)):
        if part.measures[index].number == number:
            return index
    if not part.measures:
        raise BadOption("the part has no measures", field="crook", part=part.id)
    elsewhere = any(measure.number == number for measure in part.measures)
    what = "comes before the first measure of its range" if elsewhere else "is not in the part"
    raise BadOption(
        f"measure {number} of {override.text!r} {what}; its measures are numbered "
        f"{part.measures[0].number} to {part.measures[-1].number}",
        field="crook",
        part=part.id,
    )
