"""What is made of a part besides the marked file: the makers of the products that are made on request."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from annotator.options import Options

Maker = Callable[[bytes, Options, str], bytes]


def _transposed(data: bytes, options: Options, name: str) -> bytes:
    from annotator.transposed import transposed_part  # noqa: PLC0415 - most parts are never transposed

    return transposed_part(data, replace(options, mark=()), name)


def _exercises(data: bytes, options: Options, name: str) -> bytes:
    from annotator.exercises.exercises import exercises  # noqa: PLC0415 - as above

    return exercises(data, options, name)


MAKERS: Mapping[str, Maker] = {"transposed": _transposed, "exercises": _exercises}
"""How each product that is made on request comes of a file, the options and the file's name. A maker
raises CrooklineError."""
