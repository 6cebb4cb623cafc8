"""Engraving in processes of their own, for the web server.

The engraver is a C++ library that holds the interpreter while it lays out music, and a file odd enough
may break it. In a child process neither stops the server.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from annotator.engraving.engraving import Engraving
from annotator.engraving.paper import STAND, Paper, Size
from annotator.errors import CrooklineError, UnreadableScore
from workers.fair_lane import FairLane, StillWorking

__all__ = ["Engraver", "EngravingFailed", "Sheets", "StillWorking"]

KEPT = 12


class EngravingFailed(CrooklineError):
    """The part cannot be engraved; its files are all the same there."""

    code = "engraving-failed"


@dataclass(frozen=True, slots=True)
class Sheets:
    """What to engrave: a file and its report, the paper, the kind of sheet, how large, whose name on every
    page, and one player's line only (0: all). ``key`` names the file in caches."""

    key: str
    data: bytes
    report: Mapping[str, Any]
    paper: Paper
    kind: str = "annotated"
    size: Size = STAND
    player: str = ""
    line: int = 0

    @property
    def identity(self) -> tuple[str, ...]:
        """What tells these sheets from all others."""
        return self.key, self.paper.id, self.kind, self.size.id, self.player, str(self.line)


class Engraver:
    """Two child processes, one for pages and one for whole documents, so that no page waits for a book.

    Those who ask are served in turn. Safe for threads. ``patience``: seconds to wait before ``StillWorking``
    is raised; who asks for the same again finds the work where it stands.
    """

    def __init__(self, seconds: float = 120.0) -> None:
        self.pages = FairLane(seconds, _failed)
        self.documents = FairLane(seconds, _failed)

    def outline(
        self, sheets: Sheets, *, owner: str = "", patience: float | None = None
    ) -> list[dict[str, Any]]:
        """What is on which page (see ``Engraving.outline``). Raises EngravingFailed, CrooklineError."""
        key = ("outline", *sheets.identity)
        found: list[dict[str, Any]] = self.pages.ask(owner, key, _outline, sheets, patience=patience)
        return found

    def page(self, sheets: Sheets, number: int, *, owner: str = "", patience: float | None = None) -> str:
        """Page ``number`` as an SVG document. Raises BadOption when there is no such page."""
        key = ("page", number, *sheets.identity)
        return str(self.pages.ask(owner, key, _page, sheets, number, patience=patience))

    def pdf(self, sheets: Sheets, *, owner: str = "", patience: float | None = None) -> bytes:
        """All pages as a PDF."""
        key = ("pdf", *sheets.identity)
        return bytes(self.documents.ask(owner, key, _pdf, sheets, patience=patience))

    def close(self) -> None:
        """End the children."""
        self.pages.close()
        self.documents.close()


def _failed(why: str) -> EngravingFailed:
    return EngravingFailed(f"the sheets could not be drawn: {why}; the part's files can be had all the same")


_drawn: OrderedDict[tuple[str, ...], Engraving] = OrderedDict()


def _engraving(sheets: Sheets) -> Engraving:
    key = sheets.identity
    if key not in _drawn:
        try:
            _drawn[key] = Engraving(
                sheets.data,
                sheets.report,
                paper=sheets.paper,
                kind=sheets.kind,
                size=sheets.size,
                player=sheets.player,
                line=sheets.line,
            )
        except CrooklineError:
            raise
        except Exception as error:
            raise UnreadableScore(f"the part cannot be engraved ({type(error).__name__})") from error
        while len(_drawn) > KEPT:
            _drawn.popitem(last=False)
    _drawn.move_to_end(key)
    return _drawn[key]


def _outline(sheets: Sheets) -> list[dict[str, Any]]:
    return _engraving(sheets).outline()


def _page(sheets: Sheets, number: int) -> str:
    return _engraving(sheets).page(number)


def _pdf(sheets: Sheets) -> bytes:
    return _engraving(sheets).pdf()
