"""A score with and without its .mxl container."""

from __future__ import annotations

import zipfile
from io import BytesIO

from annotator.score.source import open_source
from workers.media import MUSICXML

WHEN = (1980, 1, 1, 0, 0, 0)
CONTAINER = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles>'
    f'<rootfile full-path="score.xml" media-type="{MUSICXML}"/></rootfiles></container>\n'
)


def unpacked(data: bytes) -> bytes:
    """The score inside an .mxl, as it stands there. Raises UnreadableScore."""
    return open_source(data).xml


def packed(data: bytes) -> bytes:
    """A score as an .mxl (MusicXML 4.0, "Compressed .mxl files"); the same bytes for the same score."""
    buffer = BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in (("META-INF/container.xml", CONTAINER.encode()), ("score.xml", data)):
            info = zipfile.ZipInfo(name, WHEN)
            info.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(info, content)
    return buffer.getvalue()
