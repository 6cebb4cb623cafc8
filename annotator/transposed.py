"""The whole part written out for the instrument in hand, as a player would put it on the stand."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from html import escape

from annotator.annotation import annotate
from annotator.deciding import Prepared, prepare
from annotator.errors import UnreadableScore
from annotator.findings import Finding
from annotator.marking.as_read import ReadPart, key_changes, read_part
from annotator.marking.change_words import renamed, without_changes
from annotator.marking.rewrite import (
    attributes_xml,
    note_xml,
    transpose_xml,
)
from annotator.options import Options
from annotator.pitch import Pitch, transpose
from annotator.played import PlayedPart
from annotator.registry.mark_rows import MARKS
from annotator.score.places import Container, Places, with_indent
from annotator.score.reader import parse

Edit = tuple[int, int, str]

# A player's number or numbers; the endings of ordinals ("1ª", "1re", "2nd") are left out of the heading.
_ORDINAL = r"(?:[ªº°]|re|ère|er|ème|e|a|o|st|nd|rd|th)(?!\w)"
_AND = r"\s*(?:[,+/&–-]|\b(?:e|et|und|and|y)\b)\s*"
_ROMAN = r"(?:IV|I{1,3})"
_NUMBERED = re.compile(
    rf"\b(\d+(?:(?:{_ORDINAL})?{_AND}\d+)*|{_ROMAN}(?:{_AND}{_ROMAN})*)(?:{_ORDINAL})?(?!\w)"
)
_AFTER_FIGURE = re.compile(rf"(?<=\d){_ORDINAL}")
_NAMES = re.compile(
    r"<(part-name|part-abbreviation|instrument-name|instrument-abbreviation|instrument-sound"
    r"|part-name-display|part-abbreviation-display)(?=[\s>])[^>]*>.*?</\1\s*>",
    re.DOTALL,
)
_CREDIT_WORDS = re.compile(r"(<credit-words(?=[\s>])[^>]*>)(.*?)(</credit-words\s*>)", re.DOTALL)
_ROOT = re.compile(
    r"<(root|bass)-step(?=[\s>])[^>]*>\s*([A-G])\s*</\1-step\s*>"
    r"(?:\s*<\1-alter(?=[\s>])[^>]*>\s*(-?\d{1,2})\s*</\1-alter\s*>)?"
)
_HARMONY = re.compile(r"<harmony(?=[\s>]).*?</harmony\s*>", re.DOTALL)
_PART_GROUP = re.compile(r"\s*<part-group(?=[\s>]).*?(?:</part-group\s*>|/>)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class WrittenOut:
    """A part written out: the file, and what was noticed in the one it was made of."""

    data: bytes
    findings: tuple[Finding, ...]


def transposed_part(data: bytes, options: Options | None = None, name: str = "") -> bytes:
    """As ``write_out``, the file alone."""
    return write_out(data, options, name).data


def write_out(data: bytes, options: Options | None = None, name: str = "") -> WrittenOut:
    """The file's trumpet parts, and only they, as the player reads them on ``options.instrument``.

    Key signatures, accidentals, headings and ``<transpose>`` follow; words that changed the crook go.
    ``options.mark`` says which marks to add (none but those asked for; a cue line never, since
    nothing is left to transpose). Raises as ``annotate`` does, and UnreadableScore for a note whose pitch
    cannot be read: written out, it would be wrong.
    """
    options = options or Options(mark=())
    prepared = prepare(data, options)
    _refuse_gaps(prepared)
    findings = list(prepared.score.warnings)
    for played in prepared.played:
        findings += (*played.part.warnings, *played.findings)
    text = prepared.text
    edits = sorted(_edits(prepared, prepared.places))
    pieces: list[str] = []
    done = 0
    for start, end, new in edits:
        if start < done:
            continue
        pieces += (text[done:start], new)
        done = end
    pieces.append(text[done:])
    # What stands inside another of its kind is cut in two by a rewriting of texts.
    parse("".join(pieces))
    written = prepared.source.with_text("".join(pieces))
    marks = tuple(mark.name for mark in MARKS if mark.written_out and mark.name in options.mark)
    if marks:
        # Everything is written for the instrument now; crooks the user named were for the original.
        written = annotate(written, replace(options, mark=marks, crook="auto", part=()), name).data
    return WrittenOut(written, tuple(findings))


def _refuse_gaps(prepared: Prepared) -> None:
    for part in prepared.score.parts:
        for finding in part.warnings:
            if finding.code == "unreadable-pitch":
                raise UnreadableScore(
                    f"it cannot be written out: {finding.message}", part=finding.part, measure=finding.measure
                )


@dataclass(frozen=True, slots=True)
class _Heading:
    """A part's heading for the instrument: ``name`` in full, ``short`` for the later systems."""

    name: str
    short: str
    sound: str

    def of(self, tag: str) -> str:
        if tag == "instrument-sound":
            return self.sound
        return self.short if "abbreviation" in tag else self.name


def _edits(prepared: Prepared, places: Places) -> Iterator[Edit]:
    text = prepared.text
    played = {each.part.id: each for each in prepared.played}
    yield from _part_list(prepared, places, played)
    headings = {}
    for part_id, each in played.items():
        headings[part_id] = _heading(each, prepared)
        yield from _music(text, places, each, prepared)
    for part_id, element in zip(prepared.order.music, places.parts, strict=True):
        if part_id not in played:
            yield with_indent(text, element.start), element.end, ""
    first = next(iter(headings.values()))
    start = places.parts[0].start if places.parts else len(text)
    for words in _CREDIT_WORDS.finditer(text, 0, start):
        heading = renamed(words.group(2), escape(first.name, quote=False))
        if heading is not None:
            yield words.start(2), words.end(2), heading


def _heading(played: PlayedPart, prepared: Prepared) -> _Heading:
    number = _NUMBERED.search(played.part.name)
    name, short = prepared.instrument.headed(_AFTER_FIGURE.sub("", number.group(1)) if number else "")
    return _Heading(name, short, prepared.instrument.sound)


def _part_list(prepared: Prepared, places: Places, played: dict[str, PlayedPart]) -> Iterator[Edit]:
    text = prepared.text
    for part_id, element in zip(prepared.order.headers, places.score_parts, strict=True):
        if part_id not in played:
            yield with_indent(text, element.start), element.end, ""
            continue
        heading = _heading(played[part_id], prepared)
        for match in _NAMES.finditer(text, element.start, element.end):
            tag = match.group(1)
            new = "" if tag.endswith("-display") else f"<{tag}>{escape(heading.of(tag), quote=False)}</{tag}>"
            yield match.start(), match.end(), new
    if len(played) < len(prepared.order.headers) and places.score_parts:
        first = text.find("<part-list")
        for group in _PART_GROUP.finditer(text, first, places.parts[0].start if places.parts else len(text)):
            yield group.start(), group.end(), ""


def _music(text: str, places: Places, played: PlayedPart, prepared: Prepared) -> Iterator[Edit]:
    part = played.part
    read = read_part(part, played.at)
    directions = [
        (
            index,
            child,
            "<cue" in text[places.containers[number].element.start : places.containers[number].element.end],
        )
        for index, number in enumerate(part.containers)
        for child in places.containers[number].children
        if child.tag == "direction"
    ]
    yield from without_changes(text, directions)
    for index, number in enumerate(part.containers):
        container = places.containers[number]
        extra, before = key_changes(part, read, index)
        if index == 0:
            extra["transpose"] = transpose_xml(prepared.instrument.transposition)
        yield from _measure(text, container, read, extra, before)
        position = part.measures[index].start
        for harmony in _HARMONY.finditer(text, container.element.start, container.element.end):
            yield from _chord_symbol(harmony, played, position)


def _measure(
    text: str, container: Container, read: ReadPart, extra: dict[str, str], before: dict[int, str]
) -> Iterator[Edit]:
    number = container.first_note
    extra = {tag: xml for tag, xml in extra.items() if xml}
    for child in container.children:
        if child.tag == "note":
            if extra:
                yield child.start, child.start, attributes_xml("", extra)
                extra = {}
            pitch, accidental = read.notes.get(number, ("", ""))
            new = note_xml(text[child.start : child.end], pitch, accidental)
            yield child.start, child.end, before.get(number, "") + new
            number += 1
        elif child.tag == "attributes":
            yield child.start, child.end, attributes_xml(text[child.start : child.end], extra, keep_all=True)
            extra = {}
    if extra and container.element.opened < container.element.end:
        yield container.element.opened, container.element.opened, attributes_xml("", extra)


def _chord_symbol(harmony: re.Match[str], played: PlayedPart, position: float) -> Iterator[Edit]:
    interval = played.at(position).interval
    for root in _ROOT.finditer(harmony.string, harmony.start(), harmony.end()):
        kind, step, alter = root.groups()
        new = transpose(Pitch(step, int(alter or 0), 4), interval)
        sign = f"<{kind}-alter>{new.alter}</{kind}-alter>" if new.alter else ""
        yield root.start(), root.end(), f"<{kind}-step>{new.step}</{kind}-step>{sign}"
