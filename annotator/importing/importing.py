"""Scores in other formats, brought to MusicXML by music21; from there they go the same way as any other.

Nothing here opens an address or a pickle: only the bytes handed in are read, by the reader of their own
format, and only up to a size and for a time. What a format cannot say, or music21 does not carry over, is
reported.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable
from importlib.util import find_spec

from annotator.errors import UnreadableScore
from annotator.extras import extras
from annotator.findings import Finding
from annotator.importing.formats import FORMATS, LONGEST, Format, format_of

SECONDS = 120
LARGEST = 500_000  # bytes; a symphony in one of these formats is smaller, and music21 reads slowly
MOST_BARS = 4_000  # music21's time grows with their square


def to_musicxml(data: bytes, name: str = "", *, apart: bool = True) -> tuple[bytes, tuple[Finding, ...]]:
    """``data`` as MusicXML 4.0, and what the import lost or had to guess.

    ``name`` is the file's name, for its ending. ``apart``: music21 works in a process of its own, which
    is ended when it takes longer than ``SECONDS`` or more than ``MEMORY``; False is for data one trusts.
    Raises UnreadableScore when the format is not known, the file is too large or too long, or music21
    cannot read it.
    """
    found = format_of(data, name)
    if found is None:
        known = ", ".join(each.name for each in FORMATS)
        raise UnreadableScore(
            f"{name or 'the file'} is neither MusicXML nor a format that is imported ({known}); "
            "export it as MusicXML"
        )
    if len(data) > LARGEST:
        raise UnreadableScore(
            f"{name or 'the file'} has {len(data):,} bytes, and {found.name} is imported up to {LARGEST:,}; "
            "export it as MusicXML"
        )
    _guard(data, found)
    if find_spec("music21") is None:
        with extras(f"reading {found.name}"):
            raise ModuleNotFoundError(name="music21")
    if apart:
        return _apart(data, found)
    from annotator.importing import with_music21 as imported  # noqa: PLC0415 - music21 takes a second to load

    return imported.to_musicxml(data, found)


def _apart(data: bytes, found: Format) -> tuple[bytes, tuple[Finding, ...]]:
    import json  # noqa: PLC0415 - wanted only where something is imported
    import subprocess  # noqa: PLC0415

    environment = os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    try:
        done = subprocess.run(
            [sys.executable, "-m", "annotator.importing.with_music21", found.id],
            input=data,
            capture_output=True,
            timeout=SECONDS,
            check=False,
            env=environment,
        )
    except subprocess.TimeoutExpired:
        raise UnreadableScore(
            f"music21 did not read the {found.name} file within {SECONDS} seconds; export it as MusicXML"
        ) from None
    try:
        answer = json.loads(done.stdout)
    except ValueError:
        raise UnreadableScore(
            f"music21 could not read the {found.name} file; it may want more memory than it is given. "
            "Export it as MusicXML"
        ) from None
    if "error" in answer:
        raise UnreadableScore(answer["error"])
    return answer["xml"].encode(), tuple(Finding(*each) for each in answer["findings"])


def _guard(data: bytes, found: Format) -> None:
    """Refuses what would make the readers work for hours. Raises UnreadableScore."""
    for what, expression in _GUARDS.get(found.id, ()):
        if expression.search(data):
            raise UnreadableScore(f"this {found.name} file {what}; it is not imported. Export it as MusicXML")
    check = _CHECKS.get(found.id)
    if check is not None:
        check(data)


def _check_midi(data: bytes) -> None:
    """Adds up the times of every track; a few bytes of MIDI can claim years."""
    if len(data) < 14:
        raise UnreadableScore("the MIDI file is cut off; export it again")
    division = int.from_bytes(data[12:14], "big")
    if division == 0 or division & 0x8000:
        raise UnreadableScore("the MIDI file counts in seconds and not in notes; export it as MusicXML")
    position = 8 + int.from_bytes(data[4:8], "big")
    longest, shortest = 0.0, 4.0
    while position + 8 <= len(data):
        size = int.from_bytes(data[position + 4 : position + 8], "big")
        track = data[position + 8 : position + 8 + size]
        if data[position : position + 4] == b"MTrk":
            ticks, bar = _length(track)
            longest, shortest = max(longest, ticks / division), min(shortest, bar)
        position += 8 + size
    if longest > LONGEST or longest / shortest > MOST_BARS:
        raise UnreadableScore(
            f"the MIDI file claims to last {longest:,.0f} quarter notes, and is imported up to "
            f"{LONGEST:,.0f} in {MOST_BARS:,} bars; export it as MusicXML"
        )


def _length(track: bytes) -> tuple[int, float]:
    """The length of a MIDI track in ticks, and its shortest bar in quarters (4.0 where it names none).

    Standard MIDI Files 1.0: delta times, events, and the meta event FF 58 (time signature).
    """
    total = position = 0
    shortest = 4.0
    status = 0
    while position < len(track):
        delta, position = _number(track, position)
        total += delta
        if position >= len(track):
            break
        if track[position] & 0x80:
            status = track[position]
            position += 1
        if status == 0xFF:
            kind = track[position] if position < len(track) else 0
            size, position = _number(track, position + 1)
            if kind == 0x58 and position + 1 < len(track):
                shortest = min(shortest, 4 * max(track[position], 1) / 2 ** track[position + 1])
            position += size
        elif status in (0xF0, 0xF7):
            size, position = _number(track, position)
            position += size
        else:
            position += 1 if status & 0xF0 in (0xC0, 0xD0) else 2
    return total, shortest


def _number(data: bytes, position: int) -> tuple[int, int]:
    """A variable-length number and the position after it."""
    value = 0
    while position < len(data):
        byte = data[position]
        position += 1
        value = value << 7 | byte & 0x7F
        if not byte & 0x80:
            break
    return value, position


_MEI_COUNTS = re.compile(rb"""\s(?:num|numbase|dots|count|unit)=["']\d{5,}""")
_CHECKS: dict[str, Callable[[bytes], None]] = {"midi": _check_midi}
_GUARDS: dict[str, tuple[tuple[str, re.Pattern[bytes]], ...]] = {
    "abc": (
        ("has a note length of more than three digits", re.compile(rb"[A-Ga-gxzZ\]][,']*/?\d{4,}")),
        ("has a metre or unit length of more than three digits", re.compile(rb"[ML]:[^\n]*\d{4,}")),
    ),
    "humdrum": (("has a duration of more than four digits", re.compile(rb"(?m)^[^!*=\n]*\d{5,}")),),
    "mei": (
        ("declares entities", re.compile(rb"<!ENTITY|<!DOCTYPE[^>]*\[")),
        (
            "counts something with more than four digits",
            _MEI_COUNTS,
        ),
    ),
}
