"""Files that no notation program should write and some do: each with what is odd about it."""

from __future__ import annotations

import io
import zipfile

from annotator.score.mxl import CONTAINER
from tests.unit.parts import NoteText, part_xml

NOTES = [NoteText("G", 0, 4), NoteText("A", 0, 4), NoteText("B", -1, 4), NoteText("C", 0, 5)] * 4
PART = part_xml(NOTES, transpose=(2, 4), name="Tromba in E", fifths=1)
_CONTAINER = b'<container><rootfiles><rootfile full-path="score.xml"/></rootfiles></container>'


def _with(old: str, new: str, times: int = 1) -> bytes:
    changed = PART.replace(old.encode(), new.encode(), times)
    assert changed != PART, old
    return changed


def _encoded(declared: str, text: bytes = PART) -> bytes:
    return text.replace(b'encoding="UTF-8"', f'encoding="{declared}"'.encode())


def _mxl(*, damage: str = "") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(CONTAINER, _CONTAINER)
        archive.writestr("score.xml", PART)
        archive.writestr("picture.png", bytes(range(256)) * 4, zipfile.ZIP_STORED)
    data = bytearray(out.getvalue())
    if damage == "score":
        place = data.index(b"score.xml") + 60
        data[place : place + 20] = bytes(20)
    elif damage == "picture":
        place = data.index(bytes(range(100, 120)))
        data[place] ^= 0xFF
    elif damage == "cut off":
        del data[len(data) // 2 :]
    elif damage == "directory":
        place = data.index(b"PK\x01\x02")
        data[place + 20 : place + 28] = b"\xff" * 8
    return bytes(data)


_STAFF = "<type>quarter</type>"
ODD_NOTES = {
    "step H": _with("<step>G</step>", "<step>H</step>"),
    "no step": _with("<step>G</step>", ""),
    "empty step": _with("<step>G</step>", "<step/>"),
    "no octave": _with("<octave>4</octave>", ""),
    "empty octave": _with("<octave>4</octave>", "<octave> </octave>"),
    "octave 4.5": _with("<octave>4</octave>", "<octave>4.5</octave>"),
    "octave of 5,000 digits": _with("<octave>4</octave>", f"<octave>{'9' * 5000}</octave>"),
    "octave 10": _with("<octave>4</octave>", "<octave>10</octave>"),
    "alter 4": _with("<alter>-1</alter>", "<alter>4</alter>"),
    "alter sharp": _with("<alter>-1</alter>", "<alter>sharp</alter>"),
    "alter nan": _with("<alter>-1</alter>", "<alter>nan</alter>"),
}
"""Notes whose pitch cannot be known."""
LENIENT = {
    "step g": _with("<step>G</step>", "<step>g</step>"),
    "octave 4.0": _with("<octave>4</octave>", "<octave>4.0</octave>"),
    "alter -1,0": _with("<alter>-1</alter>", "<alter>-1,0</alter>"),
    "alter empty": _with("</step><octave>", "</step><alter/><octave>"),
}
"""Pitches written oddly that can only mean one thing."""
ODD_NUMBERS = {
    "fifths 99": _with("<fifths>1<", "<fifths>99<"),
    "fifths of 21 digits": _with("<fifths>1<", f"<fifths>{'9' * 21}<"),
    "fifths sharp": _with("<fifths>1<", "<fifths>one sharp<"),
    "staff 3000000": _with(_STAFF, f"{_STAFF}<staff>3000000</staff>"),
    "staff 0": _with(_STAFF, f"{_STAFF}<staff>0</staff>"),
    "divisions 0": _with("<divisions>1<", "<divisions>0<"),
    "divisions 1e-300": _with("<divisions>1<", "<divisions>1e-300<"),
    "divisions 1e300": _with("<divisions>1<", "<divisions>1e300<"),
    "beats of 400 digits": _with("<beats>4<", f"<beats>{'7' * 400}<"),
    "beats waltz": _with("<beats>4<", "<beats>waltz<"),
    "beat type 0": _with("<beat-type>4<", "<beat-type>0<"),
    "chromatic 4000": _with("<chromatic>4<", "<chromatic>4000<"),
    "chromatic 1e300": _with("<chromatic>4<", "<chromatic>1e300<"),
    "duration -1": _with("<duration>1<", "<duration>-1<"),
    "duration 1e300": _with("<duration>1<", "<duration>1e300<"),
}
"""Numbers that no music has: marked, with a finding that says so."""
REFUSED = {
    **{name: _encoded(name) for name in ("rot13", "zlib", "hex", "idna", "punycode", "undefined", "klingon")},
    "unicode_escape": _encoded("unicode_escape"),
    "cut off": PART[:-40],
    "half a letter": PART[:-20] + b"\xc3",
    "one id, 300 parts": _with(
        '<score-part id="P1"><part-name>Tromba in E</part-name></score-part>',
        '<score-part id="P1"><part-name>Tromba in E</part-name></score-part>' * 300,
    ),
    "200 voices": PART.replace(
        b"</measure></part>",
        b"".join(NOTES[0].xml(first=True).replace(">1</voice", f">{n}</voice").encode() for n in range(200))
        + b"</measure></part>",
    ),
    "a chord of 200": PART.replace(
        b"</measure></part>",
        NOTES[0].xml(first=True).encode()
        + NoteText("G", 0, 4, chord=True).xml(first=False).encode() * 200
        + b"</measure></part>",
    ),
    "a million measures": PART.replace(b"</part>", b"<measure/>" * 1_000_000 + b"</part>"),
    ".mxl: score damaged": _mxl(damage="score"),
    ".mxl: picture damaged": _mxl(damage="picture"),
    ".mxl: cut off": _mxl(damage="cut off"),
    ".mxl: sizes untrue": _mxl(damage="directory"),
}
"""Files of which nothing can be made."""
STRAY = {
    "declared UTF-16, is UTF-8": _encoded("UTF-16"),
    "voice ²": _with("<voice>1<", "<voice>²<"),
    "staff of a clef ²": _with("<clef>", '<clef number="²">'),
    "repeat times ²": _with(
        "</measure>", '<barline><repeat direction="backward" times="²"/></barline></measure>'
    ),
    "number of a measure, 10,000 letters": _with('number="1"', f'number="{"1" * 10_000}"'),
    "part name of 100,000 letters": _with("Tromba in E", "Tromba in E " + "x" * 100_000),
    "offset 1e300": _with(
        "<note>",
        "<direction><direction-type><words>muta in F</words></direction-type><offset>1e300</offset>"
        "</direction><note>",
    ),
    "no notes": part_xml([], name="Tromba in E"),
    "an .mxl": _mxl(),
}
"""Odd, and marked as well as any."""
