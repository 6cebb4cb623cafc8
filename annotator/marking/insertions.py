"""Marks and cue parts as insertions into a score's text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from annotator.marking.cue import CuePart
from annotator.marking.marks import NoteMark
from annotator.marking.rewrite import escaped
from annotator.marking.splice import Insertion
from annotator.registry.mark_rows import LYRIC_MARKS
from annotator.score.model import Line, Note, Part
from annotator.score.ours import SIGN_REFERENCE, signed_colour, signed_size
from annotator.score.places import Places, inside_note
from annotator.score.reader import Order

INK = "#000000"
LYRIC_SIZES = {"partial": 7.0, "intonation": 6.0}
"""Points: small beside the notes, so that neighbours do not run together (tried in three programs)."""


def lyric_numbers(part: Part) -> dict[tuple[int, str], str]:
    """A lyric number, not in use in the part, for each (line number, kind of lyric line)."""
    taken = set(part.lyric_numbers)
    numbers: dict[tuple[int, str], str] = {}
    next_number = 1
    for kind in LYRIC_MARKS:
        for line in part.lines:
            while str(next_number) in taken:
                next_number += 1
            numbers[line.number, kind] = str(next_number)
            taken.add(str(next_number))
    return numbers


def mark_insertions(
    text: str, places: Places, part: Part, marked: Sequence[tuple[Line, Sequence[tuple[Note, NoteMark]]]]
) -> list[Insertion]:
    """The insertions for the marks on the lines of ``part``, in the score's ``text``."""
    numbers = lyric_numbers(part)
    found: list[Insertion] = []
    for line, marks in marked:
        placement = "below" if _is_lower(part, line) else "above"
        found += _line_insertions(text, places, line, marks, numbers=numbers, placement=placement)
    # The lines of a chord meet on its first note, and notations stand before lyrics (MusicXML 4.0, note).
    found.sort(key=_is_lyric)
    return found


def _is_lyric(insertion: Insertion) -> bool:
    return insertion.kind != "fingering"


def _line_insertions(
    text: str,
    places: Places,
    line: Line,
    marks: Sequence[tuple[Note, NoteMark]],
    *,
    numbers: dict[tuple[int, str], str],
    placement: str,
) -> list[Insertion]:
    staff = f"<staff>{line.staff}</staff>" if line.staff > 1 else ""
    written: dict[int, tuple[str, list[tuple[str, str]], list[tuple[str, str]]]] = {}
    found: list[Insertion] = []
    notes = places.notes
    make = tuple.__new__
    for note, mark in marks:
        opened, end = notes[note.place][2:]
        inside, after = note.inside
        if opened == end:
            continue
        xml = written.get(id(mark))
        if xml is None:
            xml = written[id(mark)] = (
                _technical(mark, placement),
                [(kind, _lyric(kind, numbers[line.number, kind], text)) for kind, text in mark.lyrics],
                [(kind, _words(text, line.voice, staff)) for kind, text in mark.words],
            )
        technical, lyrics, words = xml
        if technical and inside >= 0:
            # Some readers look at a note's first <notations> only, so ours goes into one that is there.
            found.append(make(Insertion, (opened + inside, "fingering", technical)))
        elif technical:
            notations = f"<notations>{technical}</notations>"
            found.append(make(Insertion, (opened + after, "fingering", notations)))
        if lyrics and note.chord != note.place:
            # Some readers count a lyric on a chord's second note as one syllable more.
            opened, end = notes[note.chord][2:]
            after = inside_note(text[opened:end]).after
        for kind, lyric in lyrics:
            if opened < end:
                found.append(make(Insertion, (opened + after, kind, lyric)))
        for kind, direction in words:
            # A direction stands before the whole chord: between its notes none may.
            found.append(make(Insertion, (notes[note.chord].start, kind, direction)))
    return found


def _is_lower(part: Part, line: Line) -> bool:
    """Whether another line stands above ``line`` on its staff."""
    return line.number != next(each.number for each in part.lines if each.staff == line.staff)


def _lyric(kind: str, number: str, text: str) -> str:
    """A note's syllable of the lyric line ``number``.

    The colour stands twice, for some programs drop that of the lyric and some that of its text.
    """
    colour = signed_colour(INK, kind)
    return (
        f'<lyric number="{number}" name="{kind}" color="{colour}"><syllabic>single</syllabic>'
        f'<text font-size="{signed_size(LYRIC_SIZES[kind], kind)}" color="{colour}">{text}</text></lyric>'
    )


def _technical(mark: NoteMark, placement: str) -> str:
    if not mark.fingering:
        return ""
    # The alternate first: of two fingerings some programs keep only the last.
    other = (
        f'<fingering alternate="yes" placement="{placement}">{mark.alternate}</fingering>'
        if mark.alternate
        else ""
    )
    return f'<technical>{other}<fingering placement="{placement}">{mark.fingering}</fingering></technical>'


def _words(text: str, voice: str, staff: str) -> str:
    return (
        '<direction placement="above"><direction-type><words font-size="8" font-weight="bold">'
        f"{text}{SIGN_REFERENCE}</words></direction-type><voice>{escaped(voice)}</voice>{staff}</direction>"
    )


def cue_insertions(places: Places, part: Part, cue: CuePart, order: Order) -> Iterator[Insertion]:
    """The insertions for a cue part: its line in the part list, and its music right under the part's."""
    yield Insertion(places.score_parts[order.headers.index(part.id)].end, "cue", f"\n    {cue.header}")
    if order.timewise:
        for number, measure in zip(part.containers, cue.measures, strict=True):
            yield Insertion(places.containers[number].element.end, "cue", f"\n{measure}")
        return
    music = "\n".join(cue.measures)
    end = places.parts[order.music.index(part.id)].end
    yield Insertion(end, "cue", f'\n  <part id="{cue.id}">\n{music}\n  </part>')
