"""Sizes of paper an orchestra prints on."""

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


PAPERS = (
    Paper("a4", "A4", 210.0, 297.0),  # ISO 216
    Paper("letter", "Letter", 215.9, 279.4),  # ANSI/ASME Y14.1, size A
    # 9.5 by 12.5 inches, a usual size of printed parts: common practice, no source
    Paper("part", "Orchestral part", 241.3, 317.5, 14.0),
    # A page that a telephone shows at about its printed size.
    Paper("a6", "A6, for a telephone", 105.0, 148.0, 5.0),  # ISO 216
    Paper("a3", "A3", 297.0, 420.0, 16.0),  # ISO 216; an A4 page enlarged for a dim pit
)
A4 = PAPERS[0]


def paper(name: str) -> Paper:
    """The paper called ``name`` (``a4``, ``letter``, ``part``, ``a6``, ``a3``). Raises BadOption."""
    for one in PAPERS:
        if one.id == name.lower():
            return one
    known = ", ".join(one.id for one in PAPERS)
    raise BadOption(f"there is no paper {name!r}; choose from {known}", field="paper")
