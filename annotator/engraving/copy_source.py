"""A MusicXML part made ready for the engraver: one part and its cue line, notes named, layout taken out.

The engraver keeps an ``id`` of a ``<note>``, so a note on the sheet can be found in the report: its
id is ``n`` and its place, the number of the ``<note>`` in the file without its marks.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import zip_longest
from typing import Any

from lxml import etree

from annotator.engraving.figures import KINDS, Figures, Row, columns, ours, take_figures, words_off_graces
from annotator.engraving.held import hold_numbers
from annotator.engraving.long_rests import long_rests
from annotator.engraving.one_player import Player, one_row_each, only_player
from annotator.engraving.sounded import show_accidentals
from annotator.engraving.spacers import put_spacers
from annotator.errors import NoTrumpetPart, UnreadableScore
from annotator.score.model import SAME_PLACE
from annotator.score.numbers import FIFTHS, STAVES, whole_of
from annotator.score.source import open_source
from annotator.score.walk import Time, Walk, time_of

# What the file says about another page than the one we set; its long rests too, for we find them ourselves.
_LAYOUT = ("print", "defaults", "credit", "appearance", "measure-style")


@dataclass(frozen=True, slots=True)
class Bar:
    """What page turning and long rests need to know of a measure, all in quarter notes.

    ``lead`` is the rest before its first note, ``trail`` the rest after its last one; an empty measure
    has both as long as itself (``length``).
    """

    number: str
    length: float
    lead: float
    trail: float


@dataclass(frozen=True, slots=True)
class Copy:
    """A part to engrave. ``xml`` is score-partwise MusicXML with at most the part and its cue line, and none
    of the figures.

    ``figures``: what is set round the notes, by their ids; ``rows``: the rows it needs, from the staff down.
    ``notes``: for each measure the ids of the notes it prints. ``keys``: for each staff from the top, the
    key changes after the first measure as (index of measure, sharps; negative flats). ``marks``: which of
    the legend's kinds occur. ``beams``: whether it still has them.
    """

    xml: str
    title: str
    composer: str
    part_id: str
    part_name: str
    bars: tuple[Bar, ...]
    keys: tuple[tuple[tuple[int, int], ...], ...]
    figures: Mapping[str, Figures]
    rows: tuple[Row, ...]
    notes: tuple[frozenset[str], ...]
    marks: frozenset[str] = field(default_factory=frozenset)
    beams: bool = True


def parse(data: bytes) -> Any:
    """The root element of a .musicxml, .xml or .mxl file, as score-partwise. Raises UnreadableScore."""
    source = open_source(data)
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, huge_tree=True, remove_comments=True, encoding="utf-8"
    )
    try:
        root = etree.fromstring(source.text.encode(), parser)
    except etree.XMLSyntaxError as error:
        raise UnreadableScore(f"the file is no well-formed XML: {error}") from None
    if root.tag == "score-timewise":
        return _partwise(root)
    if root.tag != "score-partwise":
        raise UnreadableScore(f"the file is no MusicXML score: it begins with <{root.tag}>")
    return root


def part_ids(root: Any) -> list[str]:
    """The ids of the parts that are no cue lines of ours, in the order of the score."""
    our_parts = _our_cues(root)
    return [part.get("id", "") for part in root.iterfind("part") if part.get("id") not in our_parts]


def copy_part(
    root: Any,
    part_id: str,
    *,
    breaks: bool = False,
    words_off: bool = False,
    beams: bool = True,
    player: Player | None = None,
) -> Copy:
    """The part ``part_id`` of a parsed score, with the cue line that was put in under it.

    ``breaks``: keep the places where the file begins a new system. ``words_off``: no lyrics for the
    engraver, and without ``beams`` no beams either (for music that it cannot set otherwise).
    ``player``: the one whose notes stay, where others' on the same staff are left out.

    The tree is changed (ids, layout), so parse again for another kind of use. Raises NoTrumpetPart.
    """
    parts = root.findall("part")
    chosen = [index for index, part in enumerate(parts) if part.get("id") == part_id]
    if not chosen:
        raise NoTrumpetPart("this part is not in the score", part=part_id)
    our_parts = _our_cues(root)
    _name_notes(parts, our_parts)
    staves = [parts[chosen[0]]]
    following = parts[chosen[0] + 1 : chosen[0] + 2]
    if following and following[0].get("id") in our_parts:
        staves.append(following[0])
        # The staff is small already; the engraver would make cue notes on it smaller still.
        _drop(following[0], ("cue",))
    if player is not None:
        only_player(staves, player.places)
    for staff in staves:
        hold_numbers(staff)
    show_accidentals(staves[0])
    figures, marks = take_figures(staves[0])
    words_off_graces(staves[0], figures, everywhere=words_off)
    if player is not None:
        one_row_each(figures, player.rank)
    if not words_off:
        put_spacers(staves[0], figures)
    for staff in staves[1:]:
        _drop(staff, ("fingering", "lyric"))
    for staff in staves:
        _drop(staff, _LAYOUT[1:] if breaks else _LAYOUT)
        for attributes in [each for each in staff.iterfind("measure/attributes") if len(each) == 0]:
            attributes.getparent().remove(attributes)
        if not beams:
            _drop(staff, ("beam",))
    bars = tuple(_bars(staves[0]))
    long_rests(staves)
    item = next((item for item in root.iterfind("part-list/score-part") if item.get("id") == part_id), None)
    rows = sorted(columns(figures), key=lambda row: (KINDS.index(row[0]) if row[0] in KINDS else 0, row[1]))
    return Copy(
        xml=_written(staves),
        title=_text(root, "work/work-title") or _text(root, "movement-title") or _credit(root, "title"),
        composer=_text(root, "identification/creator[@type='composer']") or _credit(root, "composer"),
        part_id=part_id,
        part_name=_text(item, "part-name") if item is not None else part_id,
        bars=bars,
        keys=tuple(_keys(staves)),
        figures=figures,
        rows=tuple(rows),
        notes=tuple(_printed(staves)),
        marks=marks | ({"cue"} if len(staves) > 1 else set()),
        beams=beams,
    )


def _written(staves: list[Any]) -> str:
    out = etree.Element("score-partwise", version="4.0")
    part_list = etree.SubElement(out, "part-list")
    for staff in staves:
        # The names stand in the title block, not before the first system.
        score_part = etree.SubElement(part_list, "score-part", id=staff.get("id", ""))
        etree.SubElement(score_part, "part-name").text = "" if staff is staves[0] else "as read"
        for index, measure in enumerate(staff.iterfind("measure")):
            measure.set("id", f"m{index}" if staff is staves[0] else f"c{index}")
    out.extend(staves)
    return etree.tostring(out, encoding="unicode")


def _keys(staves: list[Any]) -> Iterator[tuple[tuple[int, int], ...]]:
    for staff in staves:
        count = max(
            (whole_of(one, 1, STAVES) for one in staff.iterfind("measure/attributes/staves")), default=1
        )
        yield from [tuple(_key_changes(staff))] * count


def _printed(staves: list[Any]) -> Iterator[frozenset[str]]:
    """For each measure the notes that must be seen."""
    for measures in zip_longest(*(staff.iterfind("measure") for staff in staves)):
        yield frozenset(
            note.get("id", "")
            for measure in measures
            if measure is not None
            for note in measure.iterfind("note")
            if note.find("rest") is None
            and note.get("print-object") != "no"
            and note.findtext("notehead") != "none"
        )


def _our_cues(root: Any) -> frozenset[str]:
    """The ids of the parts we put in: each is listed between our signs."""
    listed = root.iterfind("part-list/score-part")
    return frozenset(item.get("id", "") for item in listed if ours(item.getprevious()) == "cue")


def _name_notes(parts: list[Any], our_parts: frozenset[str]) -> None:
    place = cue = 0
    for part in parts:
        for element in part.iter():
            if isinstance(element.tag, str) and "id" in element.attrib and element is not part:
                del element.attrib["id"]
        if part.get("id") in our_parts:
            for note in part.iterfind("measure/note"):
                note.set("id", f"q{cue}")
                cue += 1
        else:
            for note in part.iterfind("measure/note"):
                note.set("id", f"n{place}")
                place += 1


def _drop(part: Any, tags: tuple[str, ...]) -> None:
    for tag in tags:
        for element in list(part.iter(tag)):
            element.getparent().remove(element)


def _text(element: Any, path: str) -> str:
    found = element.find(path)
    return " ".join("".join(found.itertext()).split()) if found is not None else ""


def _credit(root: Any, kind: str) -> str:
    for credit in root.iterfind("credit"):
        if _text(credit, "credit-type") == kind:
            return " ".join(_text(words, ".") for words in credit.iterfind("credit-words"))
    return ""


def _bars(part: Any) -> Iterator[Bar]:
    walk, time = Walk(), Time(4, 4)
    for measure in part.iterfind("measure"):
        sounding: list[tuple[float, float]] = []
        for tag, element, onset, duration in walk.through(measure):
            if tag == "attributes":
                time = _time(element) or time
            elif tag == "note" and duration and element.find("rest") is None:
                sounding.append((onset, onset + duration))
        length = walk.length if walk.length > SAME_PLACE else time.quarters
        lead = min((start for start, _ in sounding), default=length)
        trail = length - max((stop for _, stop in sounding), default=0.0)
        yield Bar(measure.get("number", ""), length, max(lead, 0.0), max(trail, 0.0))


def _time(attributes: Any) -> Time | None:
    """The time signature that an ``<attributes>`` sets, if it sets one that means something."""
    found = attributes.find("time")
    try:
        return None if found is None else time_of(found)
    except ValueError:
        return None


def _key_changes(part: Any) -> Iterator[tuple[int, int]]:
    in_force: int | None = None
    for index, measure in enumerate(part.iterfind("measure")):
        for key in measure.iterfind("attributes/key"):
            fifths = whole_of(key.find("fifths"), 0, FIFTHS)
            if fifths != in_force and index:
                yield index, fifths
            in_force = fifths


def _partwise(timewise: Any) -> Any:
    """A score-timewise tree turned round (MusicXML 4.0: the two hold the same, nested otherwise)."""
    root = etree.Element("score-partwise", version=timewise.get("version", "4.0"))
    parts: dict[str, Any] = {}
    for child in timewise:
        if child.tag != "measure":
            root.append(child)
            continue
        for part in child.findall("part"):
            name = part.get("id", "")
            if name not in parts:
                parts[name] = etree.Element("part", id=name)
            measure = etree.SubElement(parts[name], "measure", dict(child.attrib))
            measure.extend(list(part))
    root.extend(parts.values())
    return root
