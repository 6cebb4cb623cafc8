"""Crookline: trumpet parts in MusicXML, marked for the player.

    >>> import annotator
    >>> marked = annotator.annotate(data, annotator.Options(instrument="c-trumpet"))
    >>> marked.data          # the file with its marks
    >>> marked.report        # every note and what to do on it, as a dictionary
    >>> annotator.strip(marked.data) == data
    True

The library knows neither the web server nor the queue. Names are looked up when first used, so
that importing the package costs next to nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from annotator.errors import BadInstrument, BadOption, CrooklineError, NoTrumpetPart, UnreadableScore
from annotator.options import Options

if TYPE_CHECKING:
    from annotator.annotation import Annotated, annotate, strip

__all__ = [
    "Annotated",
    "BadInstrument",
    "BadOption",
    "CrooklineError",
    "NoTrumpetPart",
    "Options",
    "UnreadableScore",
    "annotate",
    "strip",
]
__version__ = "0.2.0"

_LAZY = ("Annotated", "annotate", "strip")


def __getattr__(name: str) -> Any:
    if name in _LAZY:
        from annotator import annotation  # noqa: PLC0415 - lxml is loaded when a score is read

        return getattr(annotation, name)
    raise AttributeError(f"module 'annotator' has no attribute {name!r}")
