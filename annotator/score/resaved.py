"""Our marks in a file that a notation program has saved since: found by their signs, and taken out."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from annotator.registry.mark_rows import WORD_MARKS
from annotator.score import record
from annotator.score.ours import BEGIN, RECORD, SIGN, between_signs, kind_of_colour, kind_of_size
from annotator.score.places import Container, Element, Places, find_places, with_indent

_TAG_REST = r"""(?=[\s/>])(?:[^>"']|"[^"]*"|'[^']*')*"""
# White space before an element goes with it when the element has lines of its own.
_BEFORE = r"(?:\r?\n[ \t]*)?"
_SIGNS = (SIGN, "&#8288;", "&#x2060;")
# A pattern that begins with plain letters is found many times quicker than one that begins with a boundary.
_COLOUR = re.compile(r"""color(?<=\scolor)\s*=\s*["']#([0-9A-Fa-f]{6})["']""")
_SIZE = re.compile(r"""\bfont-size\s*=\s*["']([0-9.]+)["']""")
_LYRIC = re.compile(rf"{_BEFORE}<lyric{_TAG_REST}(?<!/)>.*?</lyric\s*>", re.DOTALL)
_LYRIC_NUMBER = re.compile(r"""\bnumber\s*=\s*["']([^"']*)["']""")
_TEXT = re.compile(r"<text(?=[\s>])[^>]*>(.*?)</text\s*>", re.DOTALL)
_FINGERING = re.compile(rf"{_BEFORE}<fingering{_TAG_REST}(?<!/)>(.*?)</fingering\s*>", re.DOTALL)
_EMPTY_TECHNICAL = re.compile(rf"{_BEFORE}<technical\s*>\s*</technical\s*>")
_EMPTY_NOTATIONS = re.compile(rf"{_BEFORE}<notations\s*>\s*</notations\s*>")
_WORDS = re.compile(r"<words(?=[\s>])[^>]*>(.*?)</words\s*>", re.DOTALL)
_SIGNED = re.compile(rf"(?:{'|'.join(_SIGNS)})\s*</(?:words|part-abbreviation)(?=[\s>])")
_FLAG = re.compile(r"\s*!{1,3}(?:\s|$)")
_ABBREVIATION = re.compile(r"<part-abbreviation(?=[\s>])[^>]*>(.*?)</part-abbreviation\s*>", re.DOTALL)
_NAME = re.compile(r"<part-name(?=[\s>])[^>]*>(.*?)</part-name\s*>", re.DOTALL)
_ID = re.compile(r"""\bid\s*=\s*(?:"([^"]*)"|'([^']*)')""")
_SOURCE = re.compile(rf"{_BEFORE}<source(?=[\s>])[^>]*>([^<]*)</source\s*>")
_FIELD = re.compile(rf"{_BEFORE}<miscellaneous-field(?=[\s>])[^>]*>([^<]*)</miscellaneous-field\s*>")
_EMPTY_FIELDS = re.compile(rf"{_BEFORE}<miscellaneous\s*>\s*</miscellaneous\s*>")
_AS_READ = re.compile(r"(?:–|&#8211;|&#x2013;) as (?:read on|written for) ")
_PARTIAL = re.compile(r"\s*\d{1,2}\s*")


class _Cut(NamedTuple):
    """``start:end`` of the text goes, or becomes ``new``; it was a mark of ``kind``."""

    start: int
    end: int
    kind: str
    new: str = ""


@dataclass(frozen=True, slots=True)
class Unmarked:
    """A text without marks of ours. ``counts``: how many of each kind went.

    ``unknown``: the fingerings left of which nothing says whether they are ours, though the file was
    marked once.
    """

    text: str
    counts: Mapping[str, int] = field(default_factory=dict)
    unknown: int = 0


def without_marks(text: str, kinds: Collection[str] = (), *, force: bool = False) -> Unmarked:
    """``text`` as it was before any marks were put in; with ``kinds``, without these only.

    Between processing instructions that is exact. What an editor has saved is known by the signs that
    survived; ``force`` takes what looks like a mark, too.
    """
    counts: Counter[str] = Counter()
    if BEGIN in text:
        before = text
        text = between_signs(text, kinds)
        counts["marks"] = before.count(BEGIN) - text.count(BEGIN)
        if BEGIN in text:
            return Unmarked(text, counts)
    if not force and not _any_sign(text):
        return Unmarked(text, counts)
    return _Resaved(text, kinds, force=force).unmarked(counts)


def _any_sign(text: str) -> bool:
    if RECORD in text:
        return True
    if any(sign in text for sign in _SIGNS) and _SIGNED.search(text):
        return True
    return "<lyric " in text and any(kind_of_colour(found.group(1)) for found in _COLOUR.finditer(text))


class _Resaved:
    def __init__(self, text: str, kinds: Collection[str], *, force: bool) -> None:
        self.text = text
        self.kinds = kinds
        self.force = force
        self.places: Places = find_places(text)
        self.unknown = 0

    def unmarked(self, counts: Counter[str]) -> Unmarked:
        cuts = sorted(cut for cut in self._cuts() if not self.kinds or cut.kind in self.kinds)
        pieces: list[str] = []
        done = 0
        for start, end, kind, new in cuts:
            if start < done:
                continue
            pieces += (self.text[done:start], new)
            done = end
            counts[kind] += kind != "record"
        pieces.append(self.text[done:])
        return Unmarked(_tidy("".join(pieces)) if cuts else self.text, +counts, self.unknown)

    def _cuts(self) -> Iterator[_Cut]:
        cues = {self._id(each) for each in self.places.score_parts if self._is_cue(each)}
        for element in (*self.places.score_parts, *self.places.parts):
            if self._id(element) in cues:
                yield _Cut(with_indent(self.text, element.start), element.end, "cue")
        yield from self._lyrics()
        for container in self.places.containers:
            for child in container.children:
                kind = self._kind_of_words(child) if child.tag == "direction" else ""
                if kind:
                    yield _Cut(with_indent(self.text, child.start), child.end, kind)
        yield from self._fingerings(cues)
        first = self.places.parts[0].start if self.places.parts else 0
        for pattern in (_SOURCE, _FIELD):
            for found in pattern.finditer(self.text, 0, first):
                if RECORD in found.group(1):
                    left = record.without(found.group(1))
                    # What was there before us stays.
                    new = found.group().replace(found.group(1), left) if left.strip() else ""
                    yield _Cut(found.start(), found.end(), "record", new)

    def _is_cue(self, score_part: Element) -> bool:
        listed = self.text[score_part.start : score_part.end]
        short = _ABBREVIATION.search(listed)
        if short is not None and _signed(short.group(1)):
            return True
        name = _NAME.search(listed)
        return self.force and name is not None and _AS_READ.search(name.group(1)) is not None

    def _kind_of_words(self, direction: Element) -> str:
        """The kind of mark a direction's words are, "" for words of others."""
        words = [found.group(1) for found in _WORDS.finditer(self.text, direction.start, direction.end)]
        if words and all(map(_signed, words)):
            # As many signs as the kind's place among the marks that are words.
            plain = words[0].replace(_SIGNS[1], SIGN).replace(_SIGNS[2], SIGN).rstrip()
            number = len(plain) - len(plain.rstrip(SIGN))
            return WORD_MARKS[min(number, len(WORD_MARKS)) - 1]
        forced = self.force and words and all(map(_FLAG.match, words))
        return "crossing" if forced else ""

    def _lyrics(self) -> Iterator[_Cut]:
        for part in self._lines() if self.force else ():
            yield from part
        for note in self.places.notes:
            for lyric in _LYRIC.finditer(self.text, note.opened, note.end):
                kind = _kind_of_lyric(lyric.group())
                if kind:
                    yield _Cut(lyric.start(), lyric.end(), kind)

    def _lines(self) -> Iterator[list[_Cut]]:
        """By force: lyric lines of nothing but figures, part by part."""
        for _, containers in self._by_part():
            lines: dict[str, list[re.Match[str]]] = {}
            for note in (child for each in containers for child in each.children if child.tag == "note"):
                for lyric in _LYRIC.finditer(self.text, note.opened, note.end):
                    number = _LYRIC_NUMBER.search(lyric.group())
                    lines.setdefault(number.group(1) if number else "1", []).append(lyric)
            for line in lines.values():
                texts = ["".join(_TEXT.findall(lyric.group())) for lyric in line]
                if all(_PARTIAL.fullmatch(text) for text in texts):
                    yield [_Cut(lyric.start(), lyric.end(), "partial") for lyric in line]

    def _fingerings(self, cues: set[str]) -> Iterator[_Cut]:
        recorded = record.found(self.text)
        parts = [(part, containers) for part, containers in self._by_part() if part not in cues]
        names = {self._id(each): self._name(each) for each in self.places.score_parts}
        for place, (part, containers) in enumerate(parts):
            notes = [
                [child for child in each.children if child.tag == "note" and self._is_pitched(child)]
                for each in containers
            ]
            there = [[self._on(note) for note in measure] for measure in notes]
            if self.force:
                known = [[True] * len(measure) for measure in there]
            elif recorded is None:
                self.unknown += sum(bool(on) for measure in there for on in measure)
                continue
            else:
                was = _recorded(recorded, names.get(part, ""), place)
                if was is None:
                    continue
                texts = [[tuple(each.group(1).strip() for each in on) for on in measure] for measure in there]
                known = record.ours(was.measures, texts)
            for measure, said in zip(there, known, strict=True):
                for on, is_ours in zip(measure, said, strict=True):
                    if is_ours:
                        yield from (_Cut(each.start(), each.end(), "fingering") for each in on)

    def _is_pitched(self, note: Element) -> bool:
        return is_pitched(self.text, note)

    def _on(self, note: Element) -> list[re.Match[str]]:
        return list(_FINGERING.finditer(self.text, note.opened, note.end))

    def _by_part(self) -> Iterator[tuple[str, list[Container]]]:
        """Each part's id and containers, in the order of the music."""
        timewise = len(self.places.parts) == len(self.places.containers) and any(
            each.element.tag == "part" for each in self.places.containers
        )
        parts: dict[str, list[Container]] = {}
        if timewise:
            for each in self.places.containers:
                parts.setdefault(self._id(each.element), []).append(each)
        else:
            rest = iter(self.places.containers)
            container = next(rest, None)
            for part in self.places.parts:
                mine = parts.setdefault(self._id(part), [])
                while container is not None and container.element.start < part.end:
                    mine.append(container)
                    container = next(rest, None)
        yield from parts.items()

    def _name(self, score_part: Element) -> str:
        found = _NAME.search(self.text, score_part.start, score_part.end)
        return found.group(1).strip() if found is not None else ""

    def _id(self, element: Element) -> str:
        found = _ID.search(self.text, element.start, element.opened)
        return (found.group(1) or found.group(2) or "") if found is not None else ""


def is_pitched(text: str, note: Element) -> bool:
    """Whether a note has a pitch: those that a record counts."""
    return text.find("<pitch", note.opened, note.end) >= 0


def _recorded(parts: tuple[record.RecordedPart, ...], name: str, place: int) -> record.RecordedPart | None:
    """The part of the record for a part of this name, or else at this place among the parts."""
    same = [part for part in parts if part.name == name]
    if len(same) == 1:
        return same[0]
    return parts[place] if place < len(parts) else None


def _kind_of_lyric(lyric: str) -> str:
    """The kind of mark a lyric says it is by its colour or its size."""
    colour, size = _COLOUR.search(lyric), _SIZE.search(lyric)
    return (kind_of_colour(colour.group(1)) if colour else "") or (
        kind_of_size(size.group(1)) if size else ""
    )


def _signed(text: str) -> bool:
    return any(text.rstrip().endswith(sign) for sign in _SIGNS)


def _tidy(text: str) -> str:
    """``text`` without the elements that taking marks out has emptied."""
    for pattern in (_EMPTY_TECHNICAL, _EMPTY_NOTATIONS, _EMPTY_FIELDS):
        text = pattern.sub("", text)
    return text
