"""The central values: a part and its lines with everything that is decided about them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from annotator.findings import Finding
from annotator.fingering.model import PlayedNote
from annotator.pitch import Pitch
from annotator.reading import Reading
from annotator.reading.stretches import StretchAt
from annotator.score.model import Line, Part


@dataclass(frozen=True, slots=True)
class PlayedLine:
    """A line with each note's pitch as read, and what is done on it.

    ``second``: the next-best plans of its phrases, where they were asked for.
    """

    line: Line
    pitches: tuple[Pitch, ...]
    how: tuple[PlayedNote, ...]
    second: tuple[dict[str, Any], ...] | None = None


@dataclass(frozen=True, slots=True)
class PlayedPart:
    """A part with its reading and its lines, and what was noticed."""

    part: Part
    reading: Reading
    at: StretchAt
    lines: tuple[PlayedLine, ...]
    findings: tuple[Finding, ...]
