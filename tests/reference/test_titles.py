"""Titles of works change no crook: every third of the 11,000 in music21's corpus (chorales, songs, dances).

Source: the metadata that the package music21 carries with its corpus.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import music21

from annotator.reading.changes import read_words
from annotator.reading.names import heading_not_read, read_heading

# Words in a damaged coding, and one name with an abbreviation in it.
SPOILT = 5


@lru_cache(maxsize=1)
def titles() -> tuple[str, ...]:
    """Titles of the chorales and of everything in the corpus, a third of them for the time's sake."""
    chorales: Any = music21.corpus.chorales.ChoraleList()  # type: ignore[no-untyped-call]
    found: set[str] = {entry["title"] for entry in chorales.byBWV.values()}
    bundle: Any = music21.metadata.bundles.MetadataBundle("core").read()  # type: ignore[no-untyped-call]
    for entry in bundle._metadataEntries.values():
        for name in ("title", "movementName"):
            text = getattr(entry.metadata, name, None)
            if text:
                found.add(str(text))
    return tuple(sorted(found))[::3]


def test_titles_change_nothing() -> None:
    assert len(titles()) > 3000
    changed = [text for text in titles() if read_words(text).change is not None]
    assert changed == []
    assert [text for text in titles() if read_heading(text, title=True) is not None] == []


def test_titles_are_hardly_ever_taken_for_something_that_was_not_read() -> None:
    told = [text for text in titles() if read_words(text).not_read or heading_not_read(text, title=True)]
    assert len(told) <= SPOILT, told
