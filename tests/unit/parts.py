"""Small parts, written out as MusicXML for tests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class NoteText:
    """A quarter note (or a grace note) as text; ``extra`` comes after its type, ``lead`` before it."""

    step: str
    alter: int
    octave: int
    extra: str = ""
    lead: str = ""
    chord: bool = False
    grace: bool = False
    divisions: int = 1

    def xml(self, *, first: bool) -> str:
        alter = f"<alter>{self.alter}</alter>" if self.alter else ""
        pitch = f"<pitch><step>{self.step}</step>{alter}<octave>{self.octave}</octave></pitch>"
        grace = "<grace/>" if self.grace and not self.chord else ""
        chord = "<chord/>" if self.chord and not first else ""
        duration = "" if grace else f"<duration>{self.divisions}</duration>"
        head = f"{self.lead}<note>{grace}{chord}{pitch}{duration}"
        return f"{head}<voice>1</voice><type>quarter</type>{self.extra}</note>"


def part_xml(
    notes: Sequence[NoteText],
    *,
    timewise: bool = False,
    encoding: str = "UTF-8",
    transpose: tuple[int, int] = (0, 0),
    name: str = "Trumpet",
    fifths: int = 0,
    per_measure: int = 4,
) -> bytes:
    """A score of one part with ``notes``, ``per_measure`` of them in each measure."""
    measures = [notes[start : start + per_measure] for start in range(0, len(notes), per_measure)] or [[]]
    diatonic, chromatic = transpose
    moved = f"<transpose><diatonic>{diatonic}</diatonic><chromatic>{chromatic}</chromatic></transpose>"
    attributes = (
        f"<attributes><divisions>1</divisions><key><fifths>{fifths}</fifths></key>"
        "<time><beats>4</beats><beat-type>4</beat-type></time>"
        f"<clef><sign>G</sign><line>2</line></clef>{moved if transpose != (0, 0) else ''}</attributes>"
    )
    contents = []
    for number, group in enumerate(measures, start=1):
        music = "".join(note.xml(first=index == 0) for index, note in enumerate(group))
        contents.append((number, (attributes if number == 1 else "") + music))
    if timewise:
        body = "".join(
            f'<measure number="{number}"><part id="P1">{music}</part></measure>' for number, music in contents
        )
    else:
        inside = "".join(f'<measure number="{number}">{music}</measure>' for number, music in contents)
        body = f'<part id="P1">{inside}</part>'
    root = "score-timewise" if timewise else "score-partwise"
    text = (
        f'<?xml version="1.0" encoding="{encoding}"?>\n<{root} version="4.0"><part-list><score-part id="P1">'
        f"<part-name>{name}</part-name></score-part></part-list>{body}</{root}>\n"
    )
    return text.encode(encoding)
