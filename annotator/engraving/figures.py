"""The figures round the notes (valves, partials, slides, flags) taken out of a part before it is engraved.

The engraver sets the music alone; the figures are set beside it afterwards (``placing``), each on its note.
Ours are told from the part's own by the signs round them; both are set alike.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from lxml import etree

from annotator.registry.mark_rows import LYRIC_MARKS, WORD_MARKS
from annotator.score.ours import SIGN, TARGET, kind_begun

# Sizes of type. Digits are two thirds as high: fingerings 2 mm, partials a shade less.
FIGURE, OTHER, ROW, FLAG, NUMBER = 300.0, 240.0, 280.0, 270.0, 250.0
# From a figure to what it stands over, and between two figures on the same level.
CLEAR, BESIDE = 45.0, 45.0
# The name of a lyric that only makes room: a noncharacter of Unicode, set aside for use inside a program.
UNSEEN = "\ufdd0"
WORDS = "words"
"""The kind of a row that holds the part's own words where the engraver cannot have them."""
KINDS = (*LYRIC_MARKS, WORDS)
"""The kinds of rows, from the staff down."""
Row = tuple[str, str]
"""A row under the staff: its kind (``partial``, ``intonation``, ``words``) and its number in the file."""


@dataclass(slots=True)
class Figures:
    """What stands round one note.

    ``valves`` and ``other``: the fingering, and the second one of a trill or an alternate. ``rows``: texts
    for the rows under the staff. ``flag``: the words of an awkward crossing; ``crossing`` tells equal ones.
    ``below``: it is the lower player's. ``measure``: index in the part.
    """

    measure: int
    valves: str = ""
    other: str = ""
    rows: list[tuple[Row, str]] = field(default_factory=list)
    flag: str = ""
    crossing: tuple[str, ...] = ()
    below: bool = False


def take_figures(part: Any) -> tuple[dict[str, Figures], frozenset[str]]:
    """The figures of each note (by its id), taken out of ``part``, and the kinds of marks there were.

    Notes must have their ids.
    """
    kinds = {kind for instruction in part.iter(etree.PI) if (kind := ours(instruction))}
    found: dict[str, Figures] = {}
    flag = ""
    last: dict[str, str] = {}
    for index, measure in enumerate(part.iterfind("measure")):
        for element in list(measure):
            if element.tag == "direction":
                if ours(element.getprevious()) in WORD_MARKS:
                    said = " ".join(_text(words) for words in element.iter("words")).rstrip(SIGN)
                    flag = f"{flag} {said}".strip()
                    measure.remove(element)
            elif element.tag == "note":
                figures = Figures(index)
                _take(element, figures)
                if element.find("rest") is None and element.find("chord") is None:
                    voice = _text(element.find("voice"))
                    name = _pitch(element)
                    figures.flag, flag = flag, ""
                    figures.crossing = (figures.flag, last.get(voice, ""), name)
                    last[voice] = name
                if figures.valves or figures.rows or figures.flag:
                    found[element.get("id", "")] = figures
    if any(figures.valves for figures in found.values()):
        kinds.add("fingering")
    return found, frozenset(kinds)


def ours(node: Any) -> str:
    """The kind of mark that ``node``, a processing instruction, begins; "" for any other node."""
    if node is None or node.tag is not etree.PI or node.target != TARGET:
        return ""
    return kind_begun(node.text or "")


def _take(note: Any, figures: Figures) -> None:
    """Fingerings and lyric lines of ours off the note, and into ``figures``."""
    for fingering in list(note.iterfind("notations/technical/fingering")):
        text = _text(fingering)
        if fingering.get("alternate") == "yes" or fingering.get("substitution") == "yes":
            figures.other = figures.other or text
        elif not figures.valves:
            figures.valves = text
            figures.below = fingering.get("placement") == "below"
        else:
            figures.other = figures.other or text
        fingering.getparent().remove(fingering)
    for technical in list(note.iterfind("notations/technical")):
        if len(technical) == 0:
            technical.getparent().remove(technical)
    for lyric in list(note.iterfind("lyric")):
        kind = ours(lyric.getprevious()) or ours(_before(lyric))
        if kind:
            figures.rows.append(((kind, lyric.get("number", "")), _text(lyric.find("text"))))
            note.remove(lyric)
    for notations in list(note.iterfind("notations")):
        if len(notations) == 0:
            note.remove(notations)


def _before(lyric: Any) -> Any:
    """The sign a second lyric line of the same insertion stands after."""
    node = lyric.getprevious()
    while node is not None and node.tag == "lyric":
        node = node.getprevious()
    return node


def words_off_graces(part: Any, found: dict[str, Figures], *, everywhere: bool = False) -> None:
    """Lyrics of the part's own off the beams that have a grace note in them, into rows of our own.

    The engraver (verovio 6.4) was seen to lose its sums over such a lyric: coordinates near −2³¹.
    ``everywhere``: off all notes.
    """
    for index, measure in enumerate(part.iterfind("measure")):
        for notes in _beams(measure):
            if everywhere or any(note.find("grace") is not None for note in notes):
                for note in notes:
                    _words_off(note, index, found)


def _words_off(note: Any, index: int, found: dict[str, Figures]) -> None:
    for lyric in list(note.iterfind("lyric")):
        text = _text(lyric.find("text"))
        if text:
            more = " -" if _text(lyric.find("syllabic")) in ("begin", "middle") else ""
            figures = found.setdefault(note.get("id", ""), Figures(index))
            figures.rows.append(((WORDS, lyric.get("number", "1")), text + more))
        note.remove(lyric)


def _beams(measure: Any) -> Iterator[list[Any]]:
    """The notes under each beam, the graces between them with them; notes without one alone."""
    open_in: dict[str, list[Any]] = {}
    for note in measure.iterfind("note"):
        voice = _text(note.find("voice"))
        beam = _text(note.find("beam"))
        if voice in open_in:
            open_in[voice].append(note)
            if beam == "end" and note.find("grace") is None:
                yield open_in.pop(voice)
        elif beam == "begin" and note.find("grace") is None:
            open_in[voice] = [note]
        else:
            yield [note]
    yield from open_in.values()


def _pitch(note: Any) -> str:
    pitch = note.find("pitch")
    return " ".join(_text(child) for child in pitch.iterchildren("*")) if pitch is not None else ""


def _text(element: Any) -> str:
    return " ".join("".join(element.itertext()).split()) if element is not None else ""


def columns(found: Mapping[str, Figures]) -> frozenset[Row]:
    """The rows there are."""
    return frozenset(row for figures in found.values() for row, _ in figures.rows)
