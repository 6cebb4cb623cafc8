"""Marks and cue parts as insertions into a score's text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from annotator.marking.cue import CuePart
from annotator.marking.marks import NoteMark
from annotator.marking.rewrite import escaped
from annotator.score.model import Line, Note, Part
from annotator.score.places import Places
from annotator.score.reader import Order

Insertion = tuple[int, str]


def lyric_numbers(part: Part) -> dict[tuple[int, str], str]:
    """A lyric number, not in use in the part, for each (line number, kind of lyric line)."""
    taken = set(part.lyric_numbers)
    numbers: dict[tuple[int, str], str] = {}
    next_number = 1
    for kind in ("partial", "intonation"):
        for line in part.lines:
            while str(next_number) in taken:
                next_number += 1
            numbers[line.number, kind] = str(next_number)
            taken.add(str(next_number))
    return numbers


def mark_insertions(
    places: Places, line: Line, marks: Sequence[tuple[Note, NoteMark]], numbers: dict[tuple[int, str], str]
) -> list[Insertion]:
    """The insertions for one line's marks."""
    staff = f"<staff>{line.staff}</staff>" if line.staff > 1 else ""
    kinds = [numbers[line.number, kind] for kind in ("partial", "intonation")]
    written: dict[int, tuple[str, str, str]] = {}
    found: list[Insertion] = []
    notes = places.notes
    for note, mark in marks:
        _, start, opened, end = notes[note.place]
        inside, after = note.inside
        if opened == end:
            continue
        xml = written.get(id(mark))
        if xml is None:
            flag = _flag(mark.flag, line.voice, staff) if mark.flag else ""
            xml = written[id(mark)] = (_technical(mark), _lyrics(mark, *kinds), flag)
        technical, lyrics, flag = xml
        if technical and inside >= 0:
            # Some readers look at a note's first <notations> only, so ours goes into one that is there.
            found.append((opened + inside, technical))
        elif technical:
            lyrics = f"<notations>{technical}</notations>{lyrics}"
        if lyrics:
            found.append((opened + after, lyrics))
        if flag:
            # A direction stands before the whole chord: between its notes none may.
            found.append((start if note.chord == note.place else notes[note.chord].start, flag))
    return found


def _lyrics(mark: NoteMark, partial: str, intonation: str) -> str:
    """The lyric lines, by the numbers these have in the part."""
    lines = (("partial", partial, mark.partial), ("intonation", intonation, mark.intonation))
    return "".join(
        f'<lyric number="{number}" name="{name}"><syllabic>single</syllabic><text>{text}</text></lyric>'
        for name, number, text in lines
        if text
    )


def _technical(mark: NoteMark) -> str:
    if not mark.fingering:
        return ""
    other = (
        f'<fingering alternate="yes" placement="above">{mark.alternate}</fingering>' if mark.alternate else ""
    )
    return f'<technical><fingering placement="above">{mark.fingering}</fingering>{other}</technical>'


def _flag(text: str, voice: str, staff: str) -> str:
    return (
        '<direction placement="above"><direction-type><words font-size="8" font-weight="bold">'
        f"{text}</words></direction-type><voice>{escaped(voice)}</voice>{staff}</direction>"
    )


def cue_insertions(places: Places, part: Part, cue: CuePart, order: Order) -> Iterator[Insertion]:
    """The insertions for a cue part: its line in the part list, and its music right under the part's."""
    yield places.score_parts[order.headers.index(part.id)].end, f"\n    {cue.header}"
    if order.timewise:
        for number, measure in zip(part.containers, cue.measures, strict=True):
            yield places.containers[number].element.end, f"\n{measure}"
        return
    music = "\n".join(cue.measures)
    yield places.parts[order.music.index(part.id)].end, f'\n  <part id="{cue.id}">\n{music}\n  </part>'
