"""The scores that are changed: small ones of many kinds, others' and our own."""

from __future__ import annotations

import io
import re
import zipfile
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

import annotator
from annotator.score.mxl import CONTAINER
from tests.unit import odd_files
from tests.unit.parts import NoteText, part_xml

KEPT = Path(__file__).parent / "kept"
"""Files that once ended in a fault, each tried again every time."""
_LARGEST = 8_000
_DEMO = Path(__file__).parents[2] / "demo_scores"
_CONTAINER = b'<container><rootfiles><rootfile full-path="score.xml"/></rootfiles></container>'


@lru_cache(maxsize=1)
def seeds() -> tuple[bytes, ...]:
    """The seeds, always in the same order."""
    found = find_spec("music21")
    assert found is not None
    assert found.origin is not None
    # The LilyPond project's MusicXML test suite, in music21's copy; music21 itself need not be loaded.
    suite = sorted((Path(found.origin).parent / "musicxml" / "lilypondTestSuite").iterdir())
    others = [path.read_bytes() for path in suite if path.suffix in (".xml", ".mxl")]
    ours = [_beginning(path.read_bytes()) for path in sorted(_DEMO.glob("*.musicxml"))]
    odd = [*odd_files.ODD_NOTES.values(), *odd_files.ODD_NUMBERS.values(), *odd_files.STRAY.values()]
    made = [
        odd_files.PART,
        annotator.annotate(odd_files.PART).data,
        part_xml([NoteText("E", 0, 5)] * 8, timewise=True, name="Tromba in Mi♭", transpose=(2, 3)),
        zipped(odd_files.PART),
    ]
    return tuple(data for data in (*others, *ours, *odd, *made) if len(data) <= _LARGEST)


def _beginning(data: bytes) -> bytes:
    """The first three measures of a part."""
    return re.sub(rb'<measure number="4".*(?=</part>)', b"", data, flags=re.DOTALL)


def zipped(xml: bytes) -> bytes:
    """A compressed score (.mxl)."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in ((CONTAINER, _CONTAINER), ("score.xml", xml)):
            archive.writestr(zipfile.ZipInfo(name, (2026, 1, 2, 3, 4, 6)), content)
    return out.getvalue()
