"""Pages to PDF, nothing rastered, fonts inside."""

from __future__ import annotations

import re
from collections.abc import Sequence
from importlib import resources

# Letters beyond these need a font from the system; the typesetter carries Latin, Greek and Cyrillic.
_FOREIGN = re.compile(r"[^\u0000-\u052f\u1e00-\u27ff\ue000-\uf8ff]")


def to_pdf(
    pages: Sequence[str], width: float, heights: Sequence[float], *, title: str = "", author: str = ""
) -> bytes:
    """SVG pages as a PDF, one page each, ``width`` and ``heights`` in millimetres. Their text stays text."""
    import typst  # noqa: PLC0415 - a large library, needed for print only

    inputs = {f"page{index}": page for index, page in enumerate(pages)}
    inputs |= {f"height{index}": f"{height}" for index, height in enumerate(heights)}
    inputs |= {"pages": str(len(pages)), "width": f"{width}", "title": title, "author": author}
    layout_rules = resources.files("annotator.engraving").joinpath("sheet.typ").read_bytes()
    foreign = any(_FOREIGN.search(page) for page in pages)
    return typst.compile(layout_rules, sys_inputs=inputs, ignore_system_fonts=not foreign)
