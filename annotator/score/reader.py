"""From MusicXML to parts, lines and notes.

lxml parses; this walks each wanted part once, measure by measure, with a cursor in divisions.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from operator import attrgetter

from lxml import etree

from annotator.errors import NoTrumpetPart, UnreadableScore
from annotator.findings import Finding
from annotator.pitch import Interval
from annotator.score.measure import MeasureReader, interval_of
from annotator.score.model import Neighbour, Part, Score, Tempo
from annotator.score.numbers import (
    FIFTHS,
    LONGEST_NUMBER,
    LONGEST_TEXT,
    MOST_MEASURES,
    MOST_NOTES,
    MOST_PARTS,
    text_of,
    whole_of,
)
from annotator.score.part_list import OfName, any_name, choose, name_text, names_of, not_taken, part_headers
from annotator.score.places import Places, find_places
from annotator.score.tempo_marks import sorted_once, tempo_marks

# Comments and processing instructions mean nothing here; entities are never fetched.
_count_containers = etree.XPath("count(/*/part/measure) + count(/*/measure/part)")
_count_notes = etree.XPath("count(/*/part/measure/note) + count(/*/measure/part/note)")
_PARSER = etree.XMLParser(
    remove_comments=True,
    remove_pis=True,
    resolve_entities="internal",  # type: ignore[arg-type]  # the stubs know only True and False
    no_network=True,
    huge_tree=True,
    encoding="utf-8",  # whatever the text itself says: it has been decoded
)


@dataclass(slots=True)
class _Where:
    """A part's measures: the element with the music, the ``<measure>``, the number among all containers."""

    measures: list[tuple[etree._Element, etree._Element, int]]


def parse(text: str) -> etree._Element:
    """The root element of a MusicXML score. Raises UnreadableScore."""
    try:
        root = etree.fromstring(text.encode(), _PARSER)
    except etree.XMLSyntaxError as error:
        line = error.lineno or 0
        raise UnreadableScore(
            f"not well-formed XML, line {line}: {error.msg}; export the file again"
        ) from None
    if root.tag not in ("score-partwise", "score-timewise"):
        raise UnreadableScore(
            f"the file's outermost element is <{etree.QName(root).localname}>, not a MusicXML score "
            "(<score-partwise> or <score-timewise>); export it as MusicXML"
        )
    return root


@dataclass(frozen=True, slots=True)
class Order:
    """The ids of a score's parts as they stand in its part list, and as their music comes.

    ``timewise``: each measure holds a bit of every part, and ``music`` has the ids bit by bit.
    """

    headers: tuple[str, ...]
    music: tuple[str, ...]
    timewise: bool


@dataclass(frozen=True, slots=True)
class OpenScore:
    """A score before it is read: its ``text``, the tree of the same, and where things stand in it."""

    text: str
    root: etree._Element
    places: Places

    @property
    def order(self) -> Order:
        """The order of the parts."""
        timewise = self.root.tag == "score-timewise"
        headers = (element.get("id", "") for element in self.root.iterfind("part-list/score-part"))
        music = (
            element.get("id", "") for element in self.root.iterfind("measure/part" if timewise else "part")
        )
        return Order(tuple(headers), tuple(music), timewise)


def open_text(text: str) -> OpenScore:
    """A score's text, opened. Raises UnreadableScore."""
    for tag, most in (("measure", MOST_MEASURES), ("note", MOST_NOTES)):
        # Before anything is made of them; and a shorter text has no room for so many.
        if (
            len(text) > most * len(f"<{tag}/>")
            and (count := sum(text.count(f"<{tag}{end}") for end in " />")) > most
        ):
            raise UnreadableScore(
                f"the file has {count:,} {tag}s, and no more than {most:,} are read; make several files of it"
            )
    root = parse(text)
    places = find_places(text)
    counted = _number(_count_notes(root))
    containers = _number(_count_containers(root))
    if (counted, containers) != (len(places.notes), len(places.containers)):
        raise UnreadableScore(
            f"the file's notes cannot be told apart in its text ({counted} and {len(places.notes)}); it has "
            "notes outside its measures, or uses entities for them: save it again from a notation program"
        )
    found = OpenScore(text, root, places)
    _one_of_each(found.order, places)
    return found


def _one_of_each(order: Order, places: Places) -> None:
    """Refuses a score whose parts cannot be told apart. Raises UnreadableScore."""
    if (len(order.headers), len(order.music)) != (len(places.score_parts), len(places.parts)):
        raise UnreadableScore(
            "the file has parts or their names outside the places for them; save it again from a notation "
            "program"
        )
    for ids in (order.headers, () if order.timewise else order.music):
        part, times = Counter(ids).most_common(1)[0] if ids else ("", 0)
        if times > 1:
            raise UnreadableScore(
                f"{times} parts of the file have the id {part[:LONGEST_NUMBER]!r}; export it again, so that "
                "each has one of its own"
            )


def read(
    score: OpenScore,
    wanted: Sequence[str] = (),
    is_trumpet: OfName = lambda name, sound: True,
    is_other: OfName = lambda name, sound: False,
    may_be: OfName = lambda name, sound: False,
) -> Score:
    """The parts named (by id, name or abbreviation) in ``wanted``, or else those for which
    ``is_trumpet(name, instrument sound)`` holds; a lone part also where ``is_other`` does not.
    ``may_be`` says of the others whether they may be a trumpet's: that is a finding.

    Raises NoTrumpetPart when there is none, UnreadableScore when the score has no parts at all.
    """
    root = score.root
    headers = list(part_headers(root))
    if len(headers) > MOST_PARTS:
        raise UnreadableScore(f"the file has {len(headers):,} parts, and no more than {MOST_PARTS} are read")
    where = _measures(score)
    findings: list[Finding] = []
    chosen = choose(headers, wanted, is_trumpet)
    if not chosen and len(headers) == 1 and not any_name(headers[0], is_other):
        # A lone part that does not say what it is was sent here to be read.
        chosen = headers
        findings.append(
            Finding(
                "not-named-trumpet",
                "the part does not say that it is for a trumpet; it was marked since the file has no other",
                headers[0].id,
            )
        )
    if not chosen:
        raise NoTrumpetPart(
            f"no part is for a trumpet; the file has {names_of(headers)}; name the one you mean (part)"
        )
    if not wanted:
        findings += not_taken(headers, chosen, is_other, may_be)
    parts: list[Part] = []
    tempos: list[Tempo] = []
    for header in chosen:
        found = where.get(header.id)
        if found is None:
            findings.append(
                Finding(
                    "no-music",
                    f"the part list names {header.name or header.id}, but it has no music",
                    header.id,
                )
            )
            continue
        part, marks = _read_part(header, found, score)
        parts.append(part)
        tempos += marks
    if not parts:
        raise NoTrumpetPart("the parts asked for have no music in this file")
    measures = max((part.measures for part in parts), key=len)
    read_ids = {part.id for part in parts}
    for part_id, found in where.items():
        if part_id not in read_ids:
            tempos += tempo_marks([music for music, _, _ in found.measures], measures)
    others = tuple(
        _neighbour(header, where.get(header.id)) for header in headers if header.id not in read_ids
    )
    return Score(
        _title(root), tuple(parts), sorted_once(tempos), tuple(findings), others, tuple(_software(root))
    )


def _neighbour(header: Part, where: _Where | None) -> Neighbour:
    """What the first measure of a part that is not read says of its key."""
    fifths: int | None = None
    interval: Interval | None = None
    first = where.measures[0][0] if where is not None else ()
    for attributes in first:
        if attributes.tag != "attributes":
            continue
        key, transpose = attributes.find("key/fifths"), attributes.find("transpose")
        if key is not None:
            fifths = whole_of(key, 0, FIFTHS)
        if transpose is not None:
            interval = interval_of(transpose)
    return Neighbour(header.id, header.name, fifths, interval)


def _number(value: object) -> int:
    assert isinstance(value, float)  # what XPath's count() gives
    return int(value)


def _software(root: etree._Element) -> Iterator[str]:
    """The programs named in ``<encoding>``, each once."""
    names = (text_of(each)[:LONGEST_TEXT] for each in root.iterfind("identification/encoding/software"))
    yield from filter(None, dict.fromkeys(names))


def _title(root: etree._Element) -> str:
    titles = (name_text(root.find("work/work-title")), name_text(root.find("movement-title")))
    return ", ".join(title for title in titles if title)


def _measures(score: OpenScore) -> dict[str, _Where]:
    """Each part's measures in order, whichever way round the score is written."""
    where: dict[str, _Where] = {}
    root = score.root
    partwise = root.tag == "score-partwise"
    outer_tag, inner_tag = ("part", "measure") if partwise else ("measure", "part")
    number = 0
    for outer in root.iterchildren(outer_tag):
        for element in outer.iterchildren(inner_tag):
            part, measure = (outer, element) if partwise else (element, outer)
            entry = where.get(part.get("id", ""))
            if entry is None:
                entry = where[part.get("id", "")] = _Where([])
            entry.measures.append((element, measure, number))
            number += 1
    return where


def _read_part(header: Part, where: _Where, score: OpenScore) -> tuple[Part, list[Tempo]]:
    reader = MeasureReader(header.id, score.text, score.places.notes)
    containers = score.places.containers
    for music, measure, number in where.measures:
        reader.read(music, measure, containers[number].first_note)
    lines = reader.lines
    part = replace(
        header,
        measures=tuple(reader.measures),
        lines=lines.lines(),
        keys=tuple(sorted(reader.keys, key=attrgetter("position"))),
        transpositions=tuple(reader.transpositions),
        words=tuple(reader.words),
        sounds=header.sounds + tuple(reader.sounds),
        heads=tuple(lines.heads),
        rests=frozenset(lines.rests),
        containers=tuple(number for _, _, number in where.measures),
        clefs=tuple(reader.clefs),
        lyric_numbers=frozenset(lines.lyric_numbers),
        warnings=tuple(reader.findings),
    )
    return part, reader.tempos
