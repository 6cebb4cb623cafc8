"""Sheets as drawings: made by the engraver when first asked for, and kept with the part's results."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from typing import Any

from annotator.engraving.paper import paper, size
from annotator.errors import CrooklineError
from annotator.registry.product_rows import PRODUCT
from api import access
from api.front import turn
from api.outcomes import Result, await_product
from api.problems import Problem, not_ready
from workers.engraver import Engraver, Sheets, StillWorking
from workers.products import file as product_file

# Seconds that a thread waits for the engraver before it makes room for another request, and that an asker
# waits in all.
PATIENCE = 0.5
DRAWING_SECONDS = 240.0


@dataclass(frozen=True, slots=True)
class Wanted:
    """How a part is to be set: which product, on which paper, how large, whose name on every page, and one
    player's line of it only (0: all)."""

    of: str = "annotated"
    paper: str = "a4"
    size: str = "stand"
    player: str = ""
    line: int = 0

    @property
    def place(self) -> str:
        """A name for a folder, one for each way of setting."""
        named = f"-{sha256(self.player.encode()).hexdigest()[:16]}" if self.player else ""
        line = f"-line{self.line}" if self.line else ""
        return f"{self.of}-{self.paper}-{self.size}{line}{named}"


@cache
def engraver() -> Engraver:
    """The one of this process."""
    return Engraver()


def page_outline(result: Result, wanted: Wanted) -> list[dict[str, Any]]:
    """Which measures are on which page of a part. Raises Problem."""

    def draw(sheets: Sheets) -> bytes:
        found = engraver().outline(sheets, owner=access.owner(), patience=PATIENCE)
        return json.dumps(found).encode()

    found: list[dict[str, Any]] = json.loads(kept(result, wanted, "outline.json", draw))
    return found


def kept(result: Result, wanted: Wanted, name: str, draw: Callable[[Sheets], bytes]) -> bytes:
    """What was drawn before, or what ``draw`` makes of the part now, which is kept."""
    job, part, _ = result
    store = access.context().store
    where = f"{part.output}/sheets/{wanted.place}/{name}"
    known = store.get(job.ref, where)
    if known is not None:
        return known
    sheets = _sheets(result, wanted)
    try:
        made = draw(sheets)
    except StillWorking:
        here = turn()
        here.again, here.patience = True, DRAWING_SECONDS
        raise not_ready("the sheets are being drawn") from None
    except CrooklineError as error:
        raise Problem(422, "result-failed", str(error)) from None
    store.put(job.ref, where, made)
    return made


def page_of(sheets: Sheets, number: int) -> bytes:
    """One page. Raises BadOption when there is no such page."""
    return engraver().page(sheets, number, owner=access.owner(), patience=PATIENCE).encode()


def whole(sheets: Sheets) -> bytes:
    """All pages, as a PDF."""
    return engraver().pdf(sheets, owner=access.owner(), patience=PATIENCE)


def _sheets(result: Result, wanted: Wanted) -> Sheets:
    """What there is to draw. Raises Problem."""
    job, part, outcome = result
    kind = wanted.of
    store = access.context().store
    if kind == "annotated":
        digest, data = outcome.sha256, store.result(job, part, outcome, "annotated")
    else:
        digest = await_product(job, part, PRODUCT[kind])
        data = store.get(job.ref, product_file(PRODUCT[kind], part))
    kept = store.result(job, part, outcome, "report")
    if data is None or kept is None:
        raise Problem(404, "part-failed", "the results of this part are not there (any more)")
    report = json.loads(kept)
    if kind == "exercises":
        # Their notes are no longer those of the part.
        report = {"instrument": report["instrument"]}
    how = paper(wanted.paper), kind, size(wanted.size)
    return Sheets(digest, data, report, *how, player=wanted.player or part.player, line=wanted.line)
