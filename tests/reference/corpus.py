"""Scores that others made and music21 (BSD licence, from the package index) carries."""

from __future__ import annotations

from pathlib import Path

import music21
from lxml import etree

from annotator.score.source import open_source

_HOME = Path(music21.__file__).parent

LILYPOND_SUITE = sorted(
    path
    for path in (_HOME / "musicxml" / "lilypondTestSuite").iterdir()
    if path.suffix in (".xml", ".mxl", ".musicxml")
)
"""The LilyPond project's MusicXML test suite, in music21's copy."""

BACH = {name: _HOME / "corpus" / "bach" / name for name in ("bwv69.6.xml", "bwv137.5.mxl", "bwv29.8.mxl")}
"""Chorales with trumpets from music21's corpus."""


def part_ids(data: bytes) -> list[str]:
    """The ids in the part list."""
    root = etree.fromstring(open_source(data).xml)
    return [element.get("id", "") for element in root.iterfind("part-list/score-part")]
