"""The legend at the foot of the first page: it explains each sign the part has, and no other. SVG text."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from annotator.engraving import faces
from annotator.engraving.drawing import words
from annotator.engraving.figures import WORDS, Figures, Row
from annotator.fingering import demands, sentences
from annotator.fingering.crossing import (
    ALTERNATION,
    CLOSE_PARTIALS,
    CONTRARY_MOTION,
    FINGER_EXCHANGE,
    FINGERS,
    LIP_SLUR,
    PARTIAL_CHANGE,
    PARTIAL_SKIP,
    TRILL,
    WIDE_LEAP,
)
from annotator.registry.mark_rows import MARKS, Element

LINE, TYPE = 420.0, 280.0
# Between two entries on a line, as a share of the size of type.
_APART = 1.6
# Between the music and the rule over the legend, in lines.
_AIR = 0.7

# What the word beside a flag means, by the reason it stands for.
MEANINGS: Mapping[str, str] = {
    FINGER_EXCHANGE: "one finger goes down as another comes up",
    CONTRARY_MOTION: "the note goes up while valves go down, or the other way round",
    PARTIAL_SKIP: "a partial between the two may speak",
    LIP_SLUR: "one fingering, the lips alone change the note",
    CLOSE_PARTIALS: "the partials lie so close that the wrong one may speak",
    PARTIAL_CHANGE: "the partial changes with the valves",
    FINGERS: "several fingers move at once",
    WIDE_LEAP: "a leap to be aimed, slow or fast",
    ALTERNATION: "two notes in turn, as hard as the trill on them",
    TRILL: "a trill with no easy fingering",
}
_MEANINGS: Mapping[str, Mapping[str, str]] = {
    "crossing": {sentences.SHORT[reason]: meaning for reason, meaning in MEANINGS.items()},
    "demands": {row.word: row.meaning for row in demands.rows().values()},
}
"""The words that each kind of mark may put over a note, and what they mean."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A sign as it is printed, and what it means."""

    sign: str
    meaning: str


def entries(
    figures: Mapping[str, Figures], rows: Collection[Row], marks: Collection[str], *, beams: bool = True
) -> list[Entry]:
    """What the legend of a part says: every sign that occurs in it, and that it has no ``beams``."""
    everything = figures.values()
    kinds = [kind for kind, _ in rows]
    found = []
    for mark in MARKS:
        if mark.name in marks or mark.name in kinds:
            found += [Entry(sign, meaning) for sign, meaning in mark.legend]
        if mark.element is Element.FINGERING:
            found += _fingerings(everything)
        elif kinds.count(mark.name) > 1:
            found.append(Entry("1. 2.", f"at a row: the {mark.name} row of the first and the second player"))
        elif mark.element is Element.WORDS:
            found += _words(everything, _MEANINGS[mark.name])
    if not beams:
        found.append(Entry("", "set without beams, which the engraver could not draw here"))
    if WORDS in kinds:
        found.append(Entry("", "words in a row of their own: the text sung there"))
    return found


def _fingerings(everything: Collection[Figures]) -> list[Entry]:
    found = []
    if any(each.other for each in everything):
        found.append(Entry("(1)", "at a fingering: the trill's other one, or an alternate"))
    if any(each.below for each in everything):
        found.append(Entry("", "over the staff the upper player's fingering, under it the lower player's"))
    return found


def _words(everything: Collection[Figures], meanings: Mapping[str, str]) -> list[Entry]:
    said = {word.strip(",") for each in everything for word in each.flag.split()}
    return [Entry(word, meaning) for word, meaning in meanings.items() if word in said]


def lines(all_entries: Collection[Entry], room: float, scale: float) -> list[list[Entry]]:
    """The entries, as many to a line as fit the room; one that is longer than a line is broken."""
    found: list[list[Entry]] = []
    used = room
    for entry in all_entries:
        for piece in _broken(entry, room, scale):
            width = _width(piece, scale)
            if used + width > room:
                found.append([])
                used = 0.0
            found[-1].append(piece)
            used += width + _APART * TYPE * scale
    return found


def height(all_entries: Collection[Entry], room: float, scale: float) -> float:
    """How much of a page it takes."""
    there = lines(all_entries, room, scale)
    return LINE * scale * (len(there) + _AIR) if there else 0.0


def drawn(all_entries: Collection[Entry], left: float, right: float, y: float, scale: float) -> str:
    """The legend with the baseline of its first line at ``y``, under a rule."""
    if not all_entries:
        return ""
    size = TYPE * scale
    parts = [
        f'<path d="M{left:.0f} {y - 420 * scale:.0f} H{right:.0f}" stroke="currentColor" stroke-width="12"/>'
    ]
    for line in lines(all_entries, right - left, scale):
        x = left
        for entry in line:
            if entry.sign:
                parts.append(words(x, y, size, entry.sign, weight="bold"))
            parts.append(words(x + _sign_width(entry.sign, scale), y, size, entry.meaning, room=right - x))
            x += _width(entry, scale) + _APART * size
        y += LINE * scale
    return f'<g class="legend">{"".join(parts)}</g>'


def _broken(entry: Entry, room: float, scale: float) -> list[Entry]:
    if _width(entry, scale) <= room:
        return [entry]
    pieces, line = [], ""
    sign = entry.sign
    for word in entry.meaning.split():
        longer = f"{line} {word}".strip()
        if line and _width(Entry(sign, longer), scale) > room:
            pieces.append(Entry(sign, line))
            sign, line = "", word
        else:
            line = longer
    return [*pieces, Entry(sign, line)]


def _sign_width(sign: str, scale: float) -> float:
    return faces.width(sign, TYPE * scale, faces.BOLD) + 0.5 * TYPE * scale if sign else 0.0


def _width(entry: Entry, scale: float) -> float:
    return _sign_width(entry.sign, scale) + faces.width(entry.meaning, TYPE * scale)
