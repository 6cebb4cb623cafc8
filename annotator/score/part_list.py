"""The part list of a score: its parts before their music, and which of them are read."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from lxml import etree

from annotator.errors import NoTrumpetPart, UnreadableScore
from annotator.findings import Finding
from annotator.score.model import Part, Sound
from annotator.score.names import credit_texts, printed_name
from annotator.score.numbers import LONGEST_TEXT, text_of

_DISPLAYED = ("name", "abbreviation")
_PROGRAMS = ("57", "60")  # General MIDI, trumpet and muted trumpet (MusicXML counts from 1)

OfName = Callable[[str, str], bool]
"""Something about a part's name and its ``<instrument-sound>``."""


def choose(headers: list[Part], wanted: Sequence[str], is_trumpet: OfName) -> list[Part]:
    if not headers:
        raise UnreadableScore("the score has no part list, so no parts; export it again")
    if wanted:
        chosen = []
        for name in wanted:
            key = name.strip().casefold()
            matches = [
                part
                for part in headers
                if key in (part.id.casefold(), part.name.casefold(), part.abbreviation.casefold())
            ]
            if not matches:
                raise NoTrumpetPart(f"there is no part {name!r}; the file has {names_of(headers)}")
            chosen += [part for part in matches if part not in chosen]
        return chosen
    return [part for part in headers if any_name(part, is_trumpet)]


def any_name(part: Part, holds: OfName) -> bool:
    """Whether ``holds`` of any of the part's names with any of its sounds."""
    sounds = [sound.name for sound in part.sounds] or [""]
    names = (part.name, *part.printed_names, *part.instrument_names)
    return any(holds(name, sound) for name in names for sound in sounds)


def not_taken(headers: list[Part], chosen: list[Part], is_other: OfName, may_be: OfName) -> Iterator[Finding]:
    """Parts beside the trumpets' that may be one."""
    for header in headers:
        if header in chosen:
            continue
        why = ""
        if any_name(header, may_be):
            why = "by its name it may be for a trumpet"
        elif any(program in _PROGRAMS for program in header.programs) and not any_name(header, is_other):
            why = "it is played back by a trumpet"
        if why:
            yield Finding(
                "part-not-taken",
                f"the part {header.name or header.id!r} was not marked, and {why}; "
                f"if it is, name it with the part option ({header.id})",
                header.id,
            )


def names_of(headers: list[Part]) -> str:
    return ", ".join(f"{part.id} ({part.name})" if part.name else part.id for part in headers)


def part_headers(root: etree._Element) -> Iterator[Part]:
    credits = tuple(credit_texts(root))
    part_list = root.find("part-list")
    concert = root.find("defaults/concert-score") is not None
    for element in () if part_list is None else part_list.iterchildren("score-part"):
        sounds = tuple(
            Sound(0.0, 0, name_text(sound)) for sound in element.iterfind("score-instrument/instrument-sound")
        )
        yield Part(
            id=element.get("id", ""),
            name=name_text(element.find("part-name")),
            abbreviation=name_text(element.find("part-abbreviation")),
            instrument_names=tuple(
                name_text(name) for name in element.iterfind("score-instrument/instrument-name")
            ),
            printed_names=tuple(
                filter(None, map(printed_name, (element.find(f"part-{tag}-display") for tag in _DISPLAYED)))
            ),
            programs=tuple(text_of(program) for program in element.iterfind("midi-instrument/midi-program")),
            headings=credits,
            concert=concert,
            sounds=tuple(sound for sound in sounds if sound.name),
        )


def name_text(element: etree._Element | None) -> str:
    return text_of(element)[:LONGEST_TEXT]
