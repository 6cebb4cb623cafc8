"""Rests of several bars, marked so that they are set as one bar with their number over it."""

from __future__ import annotations

from typing import Any

from lxml import etree

# A system may well end after a long rest of this many bars: a hand is free there.
TURNING_BARS = 3
_SILENT = frozenset(("backup", "forward", "print", "sound"))
# What may stand at the beginning of the first bar of a long rest.
_OPENING = frozenset(("direction", "attributes"))


def long_rests(staves: list[Any]) -> None:
    """Mark runs of empty measures (empty on every staff) with ``<multiple-rest>``, and the places after the
    longer ones as good for a system to begin (MusicXML 4.0)."""
    systems = list(zip(*(staff.findall("measure") for staff in staves), strict=False))
    run: list[tuple[Any, ...]] = []
    for measures in [*systems, None]:
        follows = (
            measures is not None
            and bool(run)
            and all(_empty(measure, first=False) for measure in measures)
            and not any(_ends(measure) for measure in run[-1])
        )
        if run and not follows:
            _mark(run, measures)
            run = []
        if measures is not None and all(_empty(measure, first=not run) for measure in measures):
            run.append(measures)


def _empty(measure: Any, *, first: bool) -> bool:
    """Whether a measure only rests; the ``first`` of several may have words and signatures at its beginning,
    and each may end a section."""
    rests = measure.findall("note")
    staves = {note.findtext("staff") for note in rests}
    if not 0 < len(rests) == len(staves):
        return False
    begun = False
    for child in measure:
        begun = begun or child.tag == "note"
        if isinstance(child.tag, str) and not _passes(child, first=first, begun=begun):
            return False
    return True


def _passes(child: Any, *, first: bool, begun: bool) -> bool:
    """Whether something may stand in an empty measure. ``begun``: its rest stands before."""
    if child.tag == "note":
        return _whole(child)
    if child.tag == "barline":
        if child.find("ending") is not None or child.find("fermata") is not None:
            return False
        return first or child.get("location") != "left"
    if child.tag in _OPENING:
        return first and not (begun and child.tag == "direction")
    return child.tag in _SILENT


def _whole(note: Any) -> bool:
    """Whether a note is a whole measure's rest (said so, or without a note value), and nothing on it."""
    rest = note.find("rest")
    if rest is None or note.find("notations") is not None or note.find("lyric") is not None:
        return False
    return bool(rest.get("measure") == "yes" or note.find("type") is None)


def _ends(measure: Any) -> bool:
    return any(barline.get("location", "right") == "right" for barline in measure.iterfind("barline"))


def _mark(run: list[tuple[Any, ...]], after: tuple[Any, ...] | None) -> None:
    if len(run) < 2:
        return
    for first, last in zip(run[0], run[-1], strict=True):
        attributes = etree.Element("attributes")
        style = etree.SubElement(attributes, "measure-style")
        etree.SubElement(style, "multiple-rest").text = str(len(run))
        at = next(
            (index for index, child in enumerate(first) if child.tag == "note"),
            len(first),
        )
        first.insert(at, attributes)
        # The engraver reads the first of the bars only.
        for barline in last.findall("barline"):
            if barline.get("location", "right") == "right":
                first.append(barline)
    if len(run) >= TURNING_BARS and after is not None and after[0].find("print") is None:
        etree.SubElement(after[0], "print")
        after[0].insert(0, after[0][-1])
        after[0][0].set("new-system", "yes")
