"""Marks and cue parts as insertions into a score's text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape

from annotator.marking.cue import CuePart
from annotator.marking.marks import NoteMark
from annotator.marking.splice import Insertion
from annotator.registry.mark_rows import LYRIC_MARKS, MARK, WORD_MARKS
from annotator.score.model import Line, Note, Part
from annotator.score.ours import SIGN_REFERENCE, signed_colour, signed_size
from annotator.score.places import Places, inside_note
from annotator.score.reader import Order
from annotator.styles import PLAIN, Style

INK = "#000000"


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
    text: str,
    places: Places,
    part: Part,
    marked: Sequence[tuple[Line, Sequence[tuple[Note, NoteMark]]]],
    styles: Mapping[str, Style],
) -> list[Insertion]:
    """The insertions for the marks on the lines of ``part``, in the score's ``text``, each kind as ``styles``
    say."""
    numbers = lyric_numbers(part)
    found: list[Insertion] = []
    for line, marks in marked:
        write = _Writer(line, numbers, styles, lower=_is_lower(part, line))
        found += _line_insertions(text, places, marks, write)
    # The lines of a chord meet on its first note, and notations stand before lyrics (MusicXML 4.0, note).
    found.sort(key=_is_lyric)
    return found


def _is_lyric(insertion: Insertion) -> bool:
    return insertion.kind != "fingering"


def _line_insertions(
    text: str, places: Places, marks: Sequence[tuple[Note, NoteMark]], write: _Writer
) -> list[Insertion]:
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
                write.technical(mark),
                [(kind, write.lyric(kind, said)) for kind, said in mark.lyrics],
                [(kind, write.words(kind, said)) for kind, said in mark.words],
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


@dataclass(frozen=True, slots=True)
class _Writer:
    """Writes the marks of a line as XML. ``lower``: another player's line stands above it."""

    line: Line
    numbers: dict[tuple[int, str], str]
    styles: Mapping[str, Style]
    lower: bool

    def technical(self, mark: NoteMark) -> str:
        if not mark.fingering:
            return ""
        style = self.styles.get("fingering", PLAIN)
        look = f' placement="{style.place or ("below" if self.lower else "above")}"'
        if style.colour is not None:
            look += f' color="{style.colour}"'
        if style.size is not None:
            look += f' font-size="{style.size:g}"'
        # The alternate first: of two fingerings some programs keep only the last.
        other = f'<fingering alternate="yes"{look}>{mark.alternate}</fingering>' if mark.alternate else ""
        return f"<technical>{other}<fingering{look}>{mark.fingering}</fingering></technical>"

    def lyric(self, kind: str, text: str) -> str:
        """A note's syllable of a lyric line.

        The colour stands twice, for some programs drop that of the lyric and some that of its text.
        """
        style = self.styles.get(kind, PLAIN)
        number = self.numbers[self.line.number, kind]
        colour = signed_colour(style.colour or INK, kind)
        size = signed_size(style.size or MARK[kind].size, kind)
        place = f' placement="{style.place}"' if style.place is not None else ""
        return (
            f'<lyric number="{number}" name="{kind}"{place} color="{colour}"><syllabic>single</syllabic>'
            f'<text font-size="{size}" color="{colour}">{text}</text></lyric>'
        )

    def words(self, kind: str, text: str) -> str:
        """Words before a note."""
        style = self.styles.get(kind, PLAIN)
        colour = f' color="{style.colour}"' if style.colour is not None else ""
        staff = f"<staff>{self.line.staff}</staff>" if self.line.staff > 1 else ""
        return (
            f'<direction placement="{style.place or "above"}"><direction-type>'
            f'<words font-size="{style.size or MARK[kind].size:g}" font-weight="bold"{colour}>'
            f"{text}{SIGN_REFERENCE * (1 + WORD_MARKS.index(kind))}</words></direction-type>"
            f"<voice>{escape(self.line.voice, quote=False)}</voice>{staff}</direction>"
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
