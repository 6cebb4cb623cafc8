"""How each kind of mark looks: colour, size and place, as the ``style`` option names them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from annotator.errors import BadOption
from annotator.registry.mark_rows import MARK, MARK_NAMES, Element

_COLOUR = re.compile(r"#[0-9A-Fa-f]{6}")
_ITEM = re.compile(r"\s*([a-z]+)\.([a-z]+)\s*=\s*(\S.*?)\s*")
SMALLEST, LARGEST = 4.0, 36.0
"""Points."""


@dataclass(frozen=True, slots=True)
class Style:
    """``colour`` as ``#rrggbb``, ``size`` in points, ``place`` ``above`` or ``below``; None: as ever."""

    colour: str | None = None
    size: float | None = None
    place: str | None = None


PLAIN = Style()


def styles(said: Sequence[str]) -> Mapping[str, Style]:
    """The styles by kind of mark, from words such as ``partial.size=6``. Raises BadOption (``style``)."""
    found: dict[str, Style] = {}
    for item in said:
        match = _ITEM.fullmatch(item)
        if match is None:
            raise BadOption(
                f"{item!r} is no style; write partial.size=6 or fingering.place=below", field="style"
            )
        kind, what, value = match.groups()
        if kind not in MARK or MARK[kind].element is Element.PART:
            kinds = ", ".join(name for name in MARK_NAMES if MARK[name].element is not Element.PART)
            raise BadOption(f"{item!r}: {kind} has no style; choose from {kinds}", field="style")
        read = _READ.get(what)
        if read is None:
            raise BadOption(f"{item!r}: choose from {', '.join(_READ)}", field="style")
        found[kind] = read(found.get(kind, PLAIN), value, item)
    return found


def _colour(style: Style, value: str, item: str) -> Style:
    if not _COLOUR.fullmatch(value):
        raise BadOption(f"{item!r}: a colour is written #rrggbb", field="style")
    return replace(style, colour=value.upper())


def _size(style: Style, value: str, item: str) -> Style:
    try:
        size = float(value.removesuffix("pt"))
    except ValueError:
        size = 0.0
    if not SMALLEST <= size <= LARGEST:
        raise BadOption(f"{item!r}: a size is {SMALLEST:g} to {LARGEST:g} points", field="style")
    return replace(style, size=size)


def _place(style: Style, value: str, item: str) -> Style:
    if value not in ("above", "below"):
        raise BadOption(f"{item!r}: a place is above or below", field="style")
    return replace(style, place=value)


_READ: Mapping[str, Callable[[Style, str, str], Style]] = {"colour": _colour, "size": _size, "place": _place}
