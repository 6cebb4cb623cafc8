"""What the page shows of a part: its crooks, its findings, where they are. Plain values from a report."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from annotator.engraving.drawing import signs
from annotator.registry.finding_rows import FINDING_ROWS

GRADES = {1: "mild", 2: "medium", 3: "hard"}
RANGE_CODES = frozenset(row.code for row in FINDING_ROWS if row.out_of_reach)
GRAVE = frozenset(("range", "other", "hard"))
FEW = 8


@dataclass(frozen=True, slots=True)
class Found:
    """A finding. ``group`` sorts it (``hard``, ``medium``, ``mild``, ``range``, ``other``); ``place`` is the
    note's number or None; ``page`` the sheet its measure is on, or None where no sheet shows it."""

    group: str
    part: str
    measure: str
    beat: float | None
    place: int | None
    text: str
    instead: str = ""
    page: int | None = None


@dataclass(frozen=True, slots=True)
class Group:
    """Findings of one kind, under a heading; ``open`` when few or grave."""

    id: str
    title: str
    found: tuple[Found, ...]
    open: bool


TITLES = (
    ("range", "Out of range"),
    ("other", "To check: crooks and the file"),
    ("hard", "Hard crossings"),
    ("medium", "Medium crossings"),
    ("mild", "Mild crossings"),
)


def groups(report: Mapping[str, Any], outline: Sequence[Mapping[str, Any]]) -> list[Group]:
    """The findings of a report, grouped, each with the page it is on."""
    found = [*_crossings(report, outline), *_warnings(report, outline)]
    made = []
    for group, title in TITLES:
        members = tuple(one for one in found if one.group == group)
        if members:
            made.append(Group(group, title, members, group in GRAVE or len(members) <= FEW))
    return made


def _crossings(report: Mapping[str, Any], outline: Sequence[Mapping[str, Any]]) -> Iterator[Found]:
    for part in report.get("parts", ()):
        for line in part.get("lines", ()):
            for note in line.get("notes", ()):
                crossing = note.get("crossing")
                if not crossing:
                    continue
                reasons = ", ".join(crossing.get("reasons", ()))
                yield Found(
                    group=GRADES.get(crossing.get("grade"), "mild"),
                    part=str(part.get("id", "")),
                    measure=str(note.get("measure", "")),
                    beat=note.get("beat"),
                    place=note.get("place"),
                    text=crossing.get("sentence") or reasons,
                    instead=crossing.get("instead") or "",
                    page=page_of(outline, str(part.get("id", "")), str(note.get("measure", ""))),
                )


def _warnings(report: Mapping[str, Any], outline: Sequence[Mapping[str, Any]]) -> Iterator[Found]:
    for warning in report.get("warnings", ()):
        part, measure = str(warning.get("part") or ""), str(warning.get("measure") or "")
        yield Found(
            group="range" if warning.get("code") in RANGE_CODES else "other",
            part=part,
            measure=measure,
            beat=None,
            place=None,
            text=str(warning.get("message", "")),
            page=page_of(outline, part, measure) if measure else None,
        )


def page_of(outline: Sequence[Mapping[str, Any]], part: str, measure: str) -> int | None:
    """The number of the page on which a measure of a part is."""
    for number, page in enumerate(outline, start=1):
        if (not part or page["part"] == part) and measure in page["measures"]:
            return number
    return None


def crooks(report: Mapping[str, Any]) -> list[dict[str, str]]:
    """Each stretch of each part: its measures, its crook, what the player does, and why we think so."""
    found = []
    for part in report.get("parts", ()):
        for segment in part.get("segments", ()):
            lines = ", ".join(map(str, segment.get("lines", ())))
            name = str(part.get("name") or part.get("id", ""))
            found.append(
                {
                    "part": f"{name}, line {lines}" if lines else name,
                    "measures": f"{segment.get('from_measure', '')}–{segment.get('to_measure', '')}",
                    "crook": signs(str(segment.get("crook", ""))),
                    "read": str(segment.get("read", {}).get("words", "")),
                    "evidence": _evidence(segment.get("evidence", "")),
                }
            )
    return found


def _evidence(evidence: Any) -> str:
    if isinstance(evidence, str):
        return evidence
    if isinstance(evidence, Sequence):
        return "; ".join(str(one) for one in evidence)
    return ""
