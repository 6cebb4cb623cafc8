"""Repeats, endings, jumps and dynamics of a part: what the count of minutes needs, and marking does not.

Read from the tree on demand, so that reading a part to mark it stays as quick as it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from lxml import etree

from annotator.score.numbers import TIMES, number_of, text_of, whole
from annotator.score.walk import Walk

# MusicXML 4.0, element <dynamics>: what lasts until the next mark. Accents (sf, sfz, rf, fz …) do not.
LEVELS = {
    **{"p" * count: -count for count in range(1, 7)},
    "n": -7,
    "mp": 0,
    "mf": 0,
    **{"f" * count: count for count in range(1, 7)},
    "fp": -1,
    "sfp": -1,
    "sfpp": -2,
    "pf": 1,
}
_NUMBERS = re.compile(r"(?<!\d)\d{1,3}(?!\d)")
# Jumps that are only printed; <sound> says the same for playback where the program wrote it.
_WORDS = (
    ("dacapo", re.compile(r"\b(?:d\.\s?c\.|da capo)", re.IGNORECASE)),
    ("dalsegno", re.compile(r"\b(?:d\.\s?s\.|dal segno)", re.IGNORECASE)),
    ("tocoda", re.compile(r"\bto coda\b", re.IGNORECASE)),
    ("fine", re.compile(r"\A\W*fine\W*\Z", re.IGNORECASE)),
)
_JUMPS = ("segno", "coda", "tocoda", "dacapo", "dalsegno", "fine")


@dataclass(frozen=True, slots=True)
class Signs:
    """What a measure says of the order of measures.

    ``forward``: a repeat begins here; ``backward``: how often the repeat that ends here is played (0: no
    repeat ends), ``after_jump``: it is taken after a da capo too. ``endings``: the passes an ending is
    for, in every measure under its bracket; ``closes``: an ending stops here. ``jumps`` are of ``segno``,
    ``coda``, ``tocoda``, ``dacapo``, ``dalsegno``, ``fine``.
    """

    forward: bool = False
    backward: int = 0
    after_jump: bool = False
    endings: frozenset[int] = frozenset()
    closes: bool = False
    jumps: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Dynamic:
    """A dynamic mark: in measure index ``measure``, ``offset`` quarters into it; ``level`` 1 for f, 2 for ff,
    0 for mp and mf, −1 for p."""

    measure: int
    offset: float
    level: int


def music_of(root: etree._Element, part_id: str) -> list[etree._Element]:
    """The elements that hold a part's measures in order (score-partwise or score-timewise)."""
    if root.tag == "score-partwise":
        return [
            measure
            for part in root.iterchildren("part")
            if part.get("id") == part_id
            for measure in part.iterchildren("measure")
        ]
    return [
        part
        for measure in root.iterchildren("measure")
        for part in measure.iterchildren("part")
        if part.get("id") == part_id
    ]


def signs(root: etree._Element, part_id: str) -> tuple[Signs, ...]:
    """The signs of every measure of a part.

    Jumps may stand in another part only (a score prints them over the top staff): those count too.
    """
    music = music_of(root, part_id)
    jumps: list[set[str]] = [set() for _ in music]
    for other in _part_ids(root):
        for index, measure in enumerate(music_of(root, other)[: len(music)]):
            jumps[index] |= _jumps(measure)
    found = []
    under: frozenset[int] = frozenset()
    for measure, said in zip(music, jumps, strict=True):
        forward = after_jump = closes = False
        backward = 0
        for barline in measure.iterfind("barline"):
            for ending in barline.iterfind("ending"):
                if ending.get("type") == "start":
                    under = frozenset(int(n) for n in _NUMBERS.findall(ending.get("number", "1")))
                else:
                    closes = True
            repeat = barline.find("repeat")
            if repeat is None:
                continue
            if repeat.get("direction") == "forward":
                forward = True
            else:
                backward = whole(repeat.get("times", "2"), TIMES) or 2
                after_jump = repeat.get("after-jump") == "yes"
        found.append(Signs(forward, backward, after_jump, under, closes, frozenset(said)))
        if closes:
            under = frozenset()
    return tuple(found)


def dynamics(root: etree._Element, part_id: str) -> tuple[Dynamic, ...]:
    """The lasting dynamic marks of a part, in order; a single-staff part's, whatever the voice."""
    found = []
    walk = Walk()
    for index, measure in enumerate(music_of(root, part_id)):
        for tag, element, onset, _ in walk.through(measure):
            if tag == "direction":
                shift = walk.shift(number_of(element.find("offset"), 0.0))
                found += _dynamics(element.iterfind("direction-type/dynamics/*"), index, onset + shift)
            elif tag == "note":
                found += _dynamics(element.iterfind("notations/dynamics/*"), index, onset)
    return tuple(sorted(found, key=lambda mark: (mark.measure, mark.offset)))


def _dynamics(marks: Iterator[etree._Element], measure: int, offset: float) -> list[Dynamic]:
    return [Dynamic(measure, offset, LEVELS[mark.tag]) for mark in marks if mark.tag in LEVELS]


def _part_ids(root: etree._Element) -> Sequence[str]:
    ids = (part.get("id", "") for part in root.iterfind("part-list/score-part"))
    return tuple(dict.fromkeys(ids))


def _jumps(measure: etree._Element) -> set[str]:
    found: set[str] = set()
    for sound in measure.iterfind(".//sound"):
        found.update(jump for jump in _JUMPS if sound.get(jump) not in (None, "no"))
    for kind in measure.iterfind("direction/direction-type"):
        for child in kind:
            if child.tag in ("segno", "coda"):
                found.add(child.tag)
            elif child.tag == "words":
                said = text_of(child)
                found.update(jump for jump, pattern in _WORDS if pattern.search(said))
    for barline in measure.iterfind("barline"):
        found.update(tag for tag in ("segno", "coda") if barline.find(tag) is not None)
    return found
