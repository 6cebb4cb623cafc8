"""A sheet for one of the players on a staff: the others' notes left out."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from lxml import etree

from annotator.engraving.figures import Figures, Row, columns, ours

_WITH_OTHERS = ("stem", "beam")


@dataclass(frozen=True, slots=True)
class Player:
    """One of several on a staff: the places of the notes to play, and how many players stand above."""

    places: frozenset[int]
    rank: int


def only_player(staves: list[Any], keep: Collection[int]) -> None:
    """Leave only the notes in these places (of the first of the ``staves``), and the rests they need.

    The second staff is the cue line, which has the same notes in the same order.
    """
    notes = list(staves[0].iterfind("measure/note"))
    kept = [note.get("id", "n-1")[1:] in {str(place) for place in keep} for note in notes]
    for staff in staves:
        there = staff.findall("measure/note")
        if len(there) != len(kept):
            continue
        mine = {note.get("id") for note, keeps in zip(there, kept, strict=True) if keeps}
        for measure in staff.iterfind("measure"):
            _thin(measure, mine)


def one_row_each(figures: Mapping[str, Figures], rank: int) -> None:
    """Of several players' rows those of the one with this ``rank`` (from 0), and all above the staff."""
    rows = sorted(columns(figures))
    for each in figures.values():
        each.below = False
        kept: dict[str, tuple[Row, str]] = {}
        for row, text in each.rows:
            kind = row[0]
            number = [other for other in rows if other[0] == kind].index(row)
            if kind not in kept or number == rank:
                kept[kind] = ((kind, "1"), text)
        each.rows = list(kept.values())


def _thin(measure: Any, mine: Collection[str]) -> None:
    chords = _chords(measure)
    if all(note.get("id") in mine or note.find("rest") is not None for chord in chords for note in chord):
        return
    voices = {_voice(chord[0]) for chord in chords if any(note.get("id") in mine for note in chord)}
    changed = False
    for chord in chords:
        rest = chord[0].find("rest") is not None
        stays = [note for note in chord if note.get("id") in mine]
        if len(stays) == len(chord):
            continue
        if rest and (_voice(chord[0]) in voices or not voices):
            continue
        changed = True
        _leave(chord, stays)
    if changed:
        for note in measure.iterfind("note"):
            for tag in _WITH_OTHERS[:1]:
                for element in note.findall(tag):
                    note.remove(element)
    if not any(note.find("rest") is not None or note.get("id") in mine for note in measure.iterfind("note")):
        _whole_rest(measure)


def _chords(measure: Any) -> list[list[Any]]:
    chords: list[list[Any]] = []
    for note in measure.iterfind("note"):
        if note.find("chord") is not None and chords:
            chords[-1].append(note)
        else:
            chords.append([note])
    return chords


def _voice(note: Any) -> str:
    return note.findtext("voice") or ""


def _leave(chord: list[Any], stays: list[Any]) -> None:
    """Of a chord only the notes that stay; where none does, their time."""
    first = chord[0]
    parent = first.getparent()
    for note in chord[1:]:
        if note not in stays:
            parent.remove(note)
    if first in stays:
        return
    if stays:
        chosen = stays[0]
        for sign in chosen.findall("chord"):
            chosen.remove(sign)
        # What the chord has on its first note is everybody's; the lyric lines of all players stand there.
        for tag in ("beam", "notations"):
            if chosen.find(tag) is None:
                for element in first.findall(tag):
                    chosen.append(element)
        for lyric in first.findall("lyric"):
            sign = lyric.getprevious()
            if ours(sign):
                chosen.append(sign)
            chosen.append(lyric)
        parent.remove(first)
        return
    duration = first.find("duration")
    if duration is not None and first.find("grace") is None:
        gap = etree.Element("forward")
        gap.append(duration)
        parent.replace(first, gap)
    else:
        parent.remove(first)


def _whole_rest(measure: Any) -> None:
    """A rest for the whole measure in the place of all that took time in it."""
    spans = [element for element in measure if element.tag in ("forward", "backup", "note")]
    length = at = 0.0
    for element in spans:
        duration = float(element.findtext("duration") or 0)
        at += -duration if element.tag == "backup" else 0.0 if element.find("chord") is not None else duration
        length = max(length, at)
    place = measure.index(spans[0]) if spans else len(measure)
    for element in spans:
        measure.remove(element)
    note = etree.Element("note")
    etree.SubElement(note, "rest", measure="yes")
    etree.SubElement(note, "duration").text = f"{length:g}"
    measure.insert(place, note)
