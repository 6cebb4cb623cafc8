"""The engraver's own form of the music (MEI): which staff a sign hangs on, and keys of the cue line alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from lxml import etree

MEI = "{http://www.music-encoding.org/ns/mei}"
XML_ID = "{http://www.w3.org/XML/1998/namespace}id"
Keys = Sequence[Sequence[tuple[int, int]]]


def parse(mei: str) -> Any:
    """The root of an MEI document."""
    return etree.fromstring(mei.encode(), etree.XMLParser(huge_tree=True))


def staves_of_signs(root: Any) -> Mapping[str, int]:
    """The staff, from 0, of each sign that hangs on a measure (slurs, dynamics, words …), by its id."""
    staff_of_note: dict[str, int] = {}
    found: dict[str, int] = {}
    for measure in root.iter(f"{MEI}measure"):
        for child in measure:
            number = child.get("n") if child.tag == f"{MEI}staff" else child.get("staff")
            staff = int(number.split()[0]) - 1 if number and number.split()[0].isdigit() else None
            if child.tag == f"{MEI}staff":
                if staff is not None:
                    for element in child.iter():
                        staff_of_note[element.get(XML_ID, "")] = staff
            elif staff is not None:
                found[child.get(XML_ID, "")] = staff
            elif (start := child.get("startid") or child.get("endid")) is not None:
                found[child.get(XML_ID, "")] = staff_of_note.get(start.removeprefix("#"), 0)
    return found


def with_keys(root: Any, keys: Keys) -> str:
    """The MEI with each staff's own key changes: ``keys`` has for each staff (index of measure, sharps or
    negative flats). The engraver's import takes the first part's for all."""
    measures = {measure.get(XML_ID): measure for measure in root.iter(f"{MEI}measure")}
    changes: dict[int, dict[int, int]] = {}
    for staff, its_keys in enumerate(keys, start=1):
        for index, fifths in its_keys:
            changes.setdefault(index, {})[staff] = fifths
    for index, staves in changes.items():
        measure = measures.get(f"m{index}")
        if measure is None:
            continue
        definition = _score_definition(measure)
        group = etree.SubElement(definition, f"{MEI}staffGrp")
        for staff, fifths in staves.items():
            staff_definition = etree.SubElement(group, f"{MEI}staffDef", n=str(staff))
            etree.SubElement(staff_definition, f"{MEI}keySig", sig=_signature(fifths))
    return etree.tostring(root, encoding="unicode")


def _signature(fifths: int) -> str:
    if fifths == 0:
        return "0"
    return f"{abs(fifths)}{'s' if fifths > 0 else 'f'}"


def _score_definition(measure: Any) -> Any:
    """The ``<scoreDef>`` right before a measure, without a key of its own; made where there is none."""
    before = measure.getprevious()
    if before is not None and before.tag == f"{MEI}scoreDef":
        for key in before.findall(f"{MEI}keySig"):
            before.remove(key)
        before.attrib.pop("keysig", None)
        return before
    definition = etree.Element(f"{MEI}scoreDef")
    measure.addprevious(definition)
    return definition
