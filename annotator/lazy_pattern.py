"""Regular expressions that are compiled when first used.

The patterns made from whole vocabularies take milliseconds each to compile, and most parts need few of them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cached_property


class LazyPattern:
    """A regular expression with the methods of ``re.Pattern`` that are needed here."""

    def __init__(self, pattern: str) -> None:
        self.pattern = pattern

    @cached_property
    def compiled(self) -> re.Pattern[str]:
        return re.compile(self.pattern)

    def match(self, text: str, start: int = 0) -> re.Match[str] | None:
        """``re.Pattern.match`` from ``start`` on."""
        return self.compiled.match(text, start)

    def search(self, text: str) -> re.Match[str] | None:
        """``re.Pattern.search``."""
        return self.compiled.search(text)

    def finditer(self, text: str) -> Iterator[re.Match[str]]:
        """``re.Pattern.finditer``."""
        return self.compiled.finditer(text)

    def sub(self, new: str, text: str) -> str:
        """``re.Pattern.sub``."""
        return self.compiled.sub(new, text)
