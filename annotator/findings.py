"""What the program noticed and a person should know, without stopping the work."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from annotator.registry.finding_rows import FINDING


@dataclass(frozen=True, slots=True)
class Finding:
    """A finding: ``code`` for programs (of ``FINDING``), ``message`` for people, where it is (or None).

    Raises ValueError for a code that has no row.
    """

    code: str
    message: str
    part: str | None = None
    measure: str | None = None

    def __post_init__(self) -> None:
        if self.code not in FINDING:
            raise ValueError(f"{self.code!r} has no row in annotator/registry/finding_rows.py")

    def document(self) -> dict[str, Any]:
        """The finding as it stands in reports."""
        return {"code": self.code, "part": self.part, "measure": self.measure, "message": self.message}
