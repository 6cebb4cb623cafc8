"""What reading found, in words: evidence and findings, made here and nowhere else, of the sentences in
``wording.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

from annotator.findings import Finding
from annotator.pitch import Interval
from annotator.reading.crooks import Crook
from annotator.reading.interval_words import in_words
from annotator.reading.model import Evidence, Noticed, Pitches
from annotator.score.model import Part


def evidence(grounds: Sequence[Evidence]) -> str:
    """What speaks for a crook, in words."""
    words = ""
    for each in grounds:
        why = _why(each.pitches) if each.pitches is not None else ""
        said = _table()["evidence"][each.kind].format(text=each.text, measure=each.measure, why=why)
        joint = "" if not words else ", " if each.kind in _table()["comma"]["kinds"] else "; "
        words += joint + said
    return words


def finding(noticed: Noticed, part: Part) -> Finding:
    """What was noticed in ``part``, as a finding."""
    sentence = _table()["finding"][f"{noticed.code} {noticed.how}" if noticed.how else noticed.code]
    words = {name: _said(value) for name, value in noticed.about.items()}
    number = None if noticed.measure is None else part.measure_number(noticed.measure)
    code = "change-not-read" if noticed.code == "heading-not-read" else noticed.code
    return Finding(code, sentence.format(**words), part.id, number)


def _said(value: object) -> str:
    if isinstance(value, tuple | list):
        if value and isinstance(value[0], Evidence):
            return evidence(value)
        return ", ".join(map(_said, value))
    if isinstance(value, float):
        return f"{value:.1f}".removesuffix(".0")
    for kind, words in _WORDS:
        if isinstance(value, kind):
            return words(value)
    return str(value)


def _why(pitches: Pitches) -> str:
    """What told that a part holds sounding pitches."""
    if pitches.by == "concert-score":
        return "the file says it is a score at concert pitch"
    if pitches.by == "keys":
        return f"it has the key signature that sounds ({_signs(pitches.key or 0)}), as the other parts have"
    shares = pitches.shares
    assert shares is not None
    return (
        f"{shares.as_sounding:.0%} of the notes of the parts that name crooks are natural partials as they "
        f"stand, and {shares.as_written:.0%} if they were written for the crooks"
    )


def _signs(fifths: int) -> str:
    if fifths == 0:
        return "none"
    sign = "sharp" if fifths > 0 else "flat"
    return f"{abs(fifths)} {sign}{'s' if abs(fifths) > 1 else ''}"


_WORDS: tuple[tuple[type, Callable[[Any], str]], ...] = (
    (Evidence, lambda value: evidence((value,))),
    (Crook, lambda value: value.name),
    (Interval, in_words),
    (Pitches, _why),
)


@lru_cache(maxsize=1)
def _table() -> dict[str, Any]:
    with Path(__file__).with_suffix(".toml").open("rb") as file:
        return tomllib.load(file)
