"""Every sign and word, explained."""

from __future__ import annotations

from typing import Any

from annotator.registry.mark_rows import MARKS
from annotator.registry.word_rows import WORDS
from api.page.visitor import blueprint, render


@blueprint.get("/words")
def words() -> Any:
    """The signs on the sheets, and the words of the page and the reports."""
    return render("words.html", marks=MARKS, words=WORDS)
