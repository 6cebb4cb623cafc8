"""The record of the fingerings that go in, put where notation programs keep text they do not understand."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping

from annotator.marking.marks import NoteMark
from annotator.marking.splice import Insertion
from annotator.score import record
from annotator.score.model import Part
from annotator.score.places import Places, elements_only
from annotator.score.resaved import is_pitched

KIND = "record"

_REST = r"""(?:[^>"']|"[^"]*"|'[^']*')*"""
_IDENTIFICATION = re.compile(rf"<identification(?=[\s/>]){_REST}>")
_NEXT = re.compile(r"<(?:defaults|credit|part-list)(?=[\s/>])")
_SOURCE = re.compile(rf"<source(?=[\s/>]){_REST}(/?)>")
_FIELDS = re.compile(rf"<miscellaneous(?=[\s/>]){_REST}(/?)>")
_END_OF_FIELDS = re.compile(r"</miscellaneous\s*>")
_AFTER_SOURCE = re.compile(r"<(?:relation|miscellaneous)(?=[\s/>])|</identification\s*>")


def recorded(text: str, places: Places, part: Part, marks: Mapping[int, NoteMark]) -> record.RecordedPart:
    """What was put on the notes of ``part``; ``marks`` by the numbers of their notes."""
    measures = []
    for number in part.containers:
        container = places.containers[number]
        notes = [child for child in container.children if child.tag == "note"]
        measures.append(
            tuple(
                record.mark(marks[place].fingering, marks[place].alternate) if place in marks else record.NONE
                for place, note in enumerate(notes, start=container.first_note)
                if is_pitched(text, note)
            )
        )
    return record.RecordedPart(part.name, tuple(measures))


def record_insertions(text: str, places: Places, parts: Iterable[record.RecordedPart]) -> Iterator[Insertion]:
    """The insertions for the record of ``parts``: twice, since each program keeps another element."""
    written = record.written(list(parts))
    first = places.parts[0].start if places.parts else len(text)
    head = elements_only(text[:first])
    field = f'<miscellaneous-field name="crookline">{written}</miscellaneous-field>'
    opened = _IDENTIFICATION.search(head)
    if opened is None:
        place = _NEXT.search(head)
        if place is not None:
            content = f"<source>{written}</source><miscellaneous>{field}</miscellaneous>"
            yield Insertion(place.start(), KIND, f"<identification>{content}</identification>")
        return
    end = head.find("</identification", opened.end())
    if opened.group().endswith("/>") or end < 0:
        return  # nothing goes into an empty-element tag
    source = _SOURCE.search(head, opened.end(), end)
    if source is None:
        place = _AFTER_SOURCE.search(head, opened.end())
        if place is not None:
            yield Insertion(place.start(), KIND, f"<source>{written}</source>")
    elif not source.group(1):
        yield Insertion(head.index("</source", source.end()), KIND, f" {written}")
    fields = _FIELDS.search(head, opened.end(), end)
    if fields is None:
        yield Insertion(end, KIND, f"<miscellaneous>{field}</miscellaneous>")
    elif (closing := _END_OF_FIELDS.search(head, fields.end())) is not None and not fields.group(1):
        yield Insertion(closing.start(), KIND, field)
