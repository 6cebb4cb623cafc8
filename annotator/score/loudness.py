"""How loud a note is: the dynamic mark that stands last before it in the text of its part.

For the few notes that are asked for; ``signs.dynamics`` reads all marks of a part from the tree.
"""

from __future__ import annotations

import re
from bisect import bisect_left

from annotator.score.places import Places
from annotator.score.signs import LEVELS

_MARK = re.compile(rf"<dynamics(?=[\s>])[^>]*>\s*<({'|'.join(LEVELS)})\s*/>")


class Loudness:
    """The dynamic marks of a score's text; they are looked for when the first note is asked for."""

    def __init__(self, text: str, places: Places) -> None:
        self._text = text
        self._places = places
        self._found: list[tuple[int, int]] | None = None

    def level(self, place: int, first: int) -> int | None:
        """The level at the note ``place`` (1 for f, 0 for mf, −1 for p …), None where no mark stands before.

        ``first`` is the place of the first note of its part: marks of other parts do not count.
        """
        if self._found is None:
            self._found = [(found.start(), LEVELS[found[1]]) for found in _MARK.finditer(self._text)]
        notes = self._places.notes
        at = bisect_left(self._found, (notes[place].start, 0)) - 1
        # A mark before the first note stands in the same measure, after the part before it.
        begins = notes[first - 1].end if first else 0
        return self._found[at][1] if at >= 0 and self._found[at][0] >= begins else None
