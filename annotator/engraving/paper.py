"""Sizes of paper an orchestra prints on, and how large the music stands on it."""

from __future__ import annotations

from dataclasses import dataclass

from annotator.errors import BadOption


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet: ``width`` and ``height`` in millimetres, ``margin`` on all four sides."""

    id: str
    name: str
    width: float
    height: float
    margin: float = 12.0


@dataclass(frozen=True, slots=True)
class Size:
    """How large music is set: the height of a staff in millimetres.

    ``column``: the width in millimetres of one long column, as high as it takes; 0 for pages.
    """

    id: str
    name: str
    staff: float
    column: float = 0.0

    @property
    def scale(self) -> float:
        """Against a part for the stand."""
        return self.staff / SIZES[0].staff


PAPERS = (
    Paper("a4", "A4", 210.0, 297.0),  # ISO 216
    Paper("letter", "Letter", 215.9, 279.4),  # ANSI/ASME Y14.1, size A
    # 9.5 by 12.5 inches, a usual size of printed parts: common practice, no source
    Paper("part", "Orchestral part", 241.3, 317.5, 14.0),
    Paper("a6", "A6", 105.0, 148.0, 5.0),  # ISO 216
    Paper("a3", "A3", 297.0, 420.0, 16.0),  # ISO 216
)
SIZES = (
    # What printed parts have, and what large print has: common practice, no source.
    Size("stand", "For the stand", 7.0),
    Size("large", "Large print", 9.5),
    # A telephone is about 65 mm wide and shows the column somewhat smaller.
    Size("phone", "For a telephone", 5.6, 84.0),
)
A4 = PAPERS[0]
STAND = SIZES[0]
_COLUMN_MARGIN = 4.0


def paper(name: str) -> Paper:
    """The paper called ``name`` (``a4``, ``letter``, ``part``, ``a6``, ``a3``). Raises BadOption."""
    for one in PAPERS:
        if one.id == name.lower():
            return one
    known = ", ".join(one.id for one in PAPERS)
    raise BadOption(f"there is no paper {name!r}; choose from {known}", field="paper")


def size(name: str) -> Size:
    """The size called ``name`` (``stand``, ``large``, ``phone``). Raises BadOption."""
    for one in SIZES:
        if one.id == name.lower():
            return one
    known = ", ".join(one.id for one in SIZES)
    raise BadOption(f"there is no size {name!r}; choose from {known}", field="size")


def sheet_of(paper_: Paper, size_: Size) -> Paper:
    """The sheet that music of this size is set on: the paper, or a column without end (``height`` 0)."""
    if not size_.column:
        return paper_
    return Paper(size_.id, size_.name, size_.column, 0.0, _COLUMN_MARGIN)
