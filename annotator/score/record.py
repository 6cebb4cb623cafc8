"""The record of the fingerings that were put in: it tells ours from a player's once an editor has saved them.

It is a short text that goes where editors keep text they do not understand. For each part it holds, measure
by measure, what was put on every pitched note; compressed, so that a long part takes some hundred letters.
"""

from __future__ import annotations

import base64
import json
import re
import zlib
from collections.abc import Sequence
from dataclasses import dataclass

from annotator.score.ours import RECORD

NONE = "-"
"""On a note that got no fingering."""
_ALTERNATE = "~"
_WRITTEN = re.compile(re.escape(RECORD) + r"\s*([A-Za-z0-9_=-]+)")
_LARGEST = 5_000_000  # characters a record may unpack to: a million notes
_MOST_PAIRS = 10_000

Measure = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RecordedPart:
    """A part's ``name`` and, for each of its measures, what was put on each pitched note.

    A fingering as printed (``1-2``), with the alternate printed beside it behind a ``~``; or ``NONE``.
    """

    name: str
    measures: tuple[Measure, ...]


def mark(fingering: str, alternate: str) -> str:
    """What a record says of a note with this fingering and this alternate ("" for none)."""
    return (fingering or NONE) + (f"{_ALTERNATE}{alternate}" if alternate else "")


def written(parts: Sequence[RecordedPart]) -> str:
    """The record of ``parts`` as text, letters and figures only."""
    plain = json.dumps([[part.name, *(" ".join(measure) for measure in part.measures)] for part in parts])
    return RECORD + base64.urlsafe_b64encode(zlib.compress(plain.encode(), 9)).decode()


def found(text: str) -> tuple[RecordedPart, ...] | None:
    """The record in ``text``; None when there is none, or none that can be read any more."""
    at = _WRITTEN.search(text)
    if at is None:
        return None
    try:
        unpacked = zlib.decompressobj().decompress(base64.urlsafe_b64decode(at.group(1)), _LARGEST)
        rows = json.loads(unpacked)
        return tuple(RecordedPart(row[0], tuple(tuple(each.split()) for each in row[1:])) for row in rows)
    except (ValueError, zlib.error, TypeError, IndexError, AttributeError):
        return None


def without(text: str) -> str:
    """``text`` without the record in it."""
    return _WRITTEN.sub("", text)


def ours(recorded: Sequence[Measure], there: Sequence[Sequence[tuple[str, ...]]]) -> list[list[bool]]:
    """Whether each note's fingerings are those that were put in.

    ``there``: for each measure of the part as it is now the fingerings on each pitched note. Measures and
    notes may have come or gone since; what was changed is not ours any more.
    """
    found = _told(recorded, there, _aligned(recorded, there))
    if len(recorded) == len(there):
        # Mostly no bar has come or gone, and what was changed may look like another bar.
        as_it_was = _told(recorded, there, [(number, number) for number in range(len(there))])
        if sum(map(sum, as_it_was)) >= sum(map(sum, found)):
            return as_it_was
    return found


def _told(
    recorded: Sequence[Measure], there: Sequence[Sequence[tuple[str, ...]]], pairs: Sequence[tuple[int, int]]
) -> list[list[bool]]:
    found = [[False] * len(measure) for measure in there]
    for before, after in pairs:
        found[after] = _in_measure(recorded[before], there[after])
    return found


def _aligned(
    recorded: Sequence[Measure], there: Sequence[Sequence[tuple[str, ...]]]
) -> list[tuple[int, int]]:
    """Which measures became which, where bars may have come or gone."""
    from difflib import SequenceMatcher  # noqa: PLC0415 - only what an editor has saved needs it

    was = [tuple(_main(each) for each in measure) for measure in recorded]
    now = [tuple(note[-1] if note else NONE for note in measure) for measure in there]
    pairs: list[tuple[int, int]] = []
    for kind, i1, i2, j1, j2 in SequenceMatcher(None, was, now, autojunk=False).get_opcodes():
        if kind == "equal" or i2 - i1 == j2 - j1:
            pairs += zip(range(i1, i2), range(j1, j2), strict=True)
        else:
            pairs += _paired(recorded, there, range(i1, i2), range(j1, j2))
    return pairs


def _paired(
    recorded: Sequence[Measure], there: Sequence[Sequence[tuple[str, ...]]], before: range, after: range
) -> list[tuple[int, int]]:
    """Which measures of ``before`` became which of ``after``, in order, so that most notes stay."""
    if len(before) * len(after) > _MOST_PAIRS:
        return list(zip(before, after, strict=False))
    # best[i][j]: the most notes that stay, of the measures from the i-th and the j-th on.
    best = [[0] * (len(after) + 1) for _ in range(len(before) + 1)]
    same = [[sum(_in_measure(recorded[i], there[j])) for j in after] for i in before]
    for i in reversed(range(len(before))):
        for j in reversed(range(len(after))):
            best[i][j] = max(best[i + 1][j], best[i][j + 1], best[i + 1][j + 1] + same[i][j])
    pairs = []
    i = j = 0
    while i < len(before) and j < len(after):
        if best[i][j] == best[i + 1][j]:
            i += 1
        elif best[i][j] == best[i][j + 1]:
            j += 1
        else:
            pairs.append((before[i], after[j]))
            i, j = i + 1, j + 1
    return pairs


def _in_measure(recorded: Measure, there: Sequence[tuple[str, ...]]) -> list[bool]:
    if len(recorded) == len(there):
        return [_same(mark, note) for mark, note in zip(recorded, there, strict=True)]
    from difflib import SequenceMatcher  # noqa: PLC0415 - only what an editor has saved needs it

    result = [False] * len(there)
    was = [_main(each) for each in recorded]
    now = [note[-1] if note else NONE for note in there]
    for start, other, size in SequenceMatcher(None, was, now, autojunk=False).get_matching_blocks():
        for step in range(size):
            result[other + step] = _same(recorded[start + step], there[other + step])
    return result


def _same(recorded: str, note: tuple[str, ...]) -> bool:
    return bool(note) and set(note) <= set(recorded.split(_ALTERNATE)) - {NONE}


def _main(recorded: str) -> str:
    return recorded.partition(_ALTERNATE)[0]
