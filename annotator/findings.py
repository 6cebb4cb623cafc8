"""What the program noticed and a person should know, without stopping the work."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Finding:
    """A finding: ``code`` for programs, ``message`` for people, where it is (or None)."""

    code: str
    message: str
    part: str | None = None
    measure: str | None = None
