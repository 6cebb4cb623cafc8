"""Small scores for the service's tests, written out as text."""

from __future__ import annotations

import io
import zipfile

TRANSPOSE = {"C": (0, 0), "D": (1, 2), "E": (2, 4), "F": (3, 5), "B♭": (-1, -2)}
BAD_SCORE = b"<score-partwise><part></score-partwise>"


def score(crook: str, measures: int = 2, title: str = "Call over the weir") -> bytes:
    """A part for a trumpet in ``crook``, of so many measures of four quarters each."""
    diatonic, chromatic = TRANSPOSE[crook]
    notes = "".join(
        f"<note><pitch><step>{step}</step><octave>{octave}</octave></pitch>"
        "<duration>1</duration><type>quarter</type></note>"
        for step, octave in (("C", 5), ("G", 4), ("E", 5), ("C", 5))
    )
    attributes = (
        "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
        "<clef><sign>G</sign><line>2</line></clef>"
        f"<transpose><diatonic>{diatonic}</diatonic><chromatic>{chromatic}</chromatic></transpose></attributes>"
    )
    body = "".join(
        f'<measure number="{number}">{attributes if number == 1 else ""}{notes}</measure>'
        for number in range(1, measures + 1)
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">'
        f"<work><work-title>{title}</work-title></work>"
        f'<part-list><score-part id="P1"><part-name>Trumpet in {crook}</part-name></score-part></part-list>'
        f'<part id="P1">{body}</part></score-partwise>\n'
    ).encode()


def mxl(data: bytes, name: str = "score.xml") -> bytes:
    """A compressed score as MusicXML 4.0 describes it, with one member."""
    container = (
        '<?xml version="1.0" encoding="UTF-8"?><container><rootfiles>'
        f'<rootfile full-path="{name}" media-type="application/vnd.recordare.musicxml+xml"/>'
        "</rootfiles></container>"
    )
    return archive({"META-INF/container.xml": container.encode(), name: data})


def archive(members: dict[str, bytes]) -> bytes:
    """A .zip with these members."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as opened:
        for name, data in members.items():
            opened.writestr(name, data)
    return buffer.getvalue()
