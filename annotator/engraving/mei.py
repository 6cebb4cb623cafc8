"""What the engraver's import leaves out, put into its own form of the music (MEI) before it sets it.

Keys that change in the cue line only, long rests as one bar, places where a system may well end, and
how loud the marks speak beside the notes.
"""

from __future__ import annotations

from typing import Any

from lxml import etree

from annotator.engraving.copy_source import OURS, Copy

MEI = "http://www.music-encoding.org/ns/mei"
XML_ID = "{http://www.w3.org/XML/1998/namespace}id"
# A system may end before a long rest of this many bars: a hand is free there.
TURNING_BARS = 3
_OPENING = frozenset(("tempo", "dir", "reh"))
_RESTING = frozenset(("mRest", "mSpace"))


def prepare(mei: str, copy: Copy) -> str:
    """The MEI of ``copy`` with its measures named ``m0``, ``m1`` … and ready to be set."""
    root = etree.fromstring(mei.encode(), etree.XMLParser(huge_tree=True))
    measures = list(root.iter(_tag("measure")))
    if len(measures) == len(copy.bars):
        for index, measure in enumerate(measures):
            measure.set(XML_ID, f"m{index}")
        _keys(measures, copy)
        _long_rests(measures)
    _marks(root)
    return etree.tostring(root, encoding="unicode")


def _tag(name: str) -> str:
    return f"{{{MEI}}}{name}"


def _signature(fifths: int) -> str:
    if fifths == 0:
        return "0"
    return f"{abs(fifths)}{'s' if fifths > 0 else 'f'}"


def _keys(measures: list[Any], copy: Copy) -> None:
    if len(copy.keys) < 2:
        return
    changes: dict[int, dict[int, int]] = {}
    for staff, keys in enumerate(copy.keys, start=1):
        for index, fifths in keys:
            changes.setdefault(index, {})[staff] = fifths
    for index, staves in changes.items():
        definition = _score_definition(measures[index])
        group = etree.SubElement(definition, _tag("staffGrp"))
        for staff, fifths in staves.items():
            staff_definition = etree.SubElement(group, _tag("staffDef"), n=str(staff))
            etree.SubElement(staff_definition, _tag("keySig"), sig=_signature(fifths))


def _score_definition(measure: Any) -> Any:
    """The ``<scoreDef>`` right before a measure, without a key of its own; made where there is none."""
    before = measure.getprevious()
    if before is not None and before.tag == _tag("scoreDef"):
        for key in before.findall(_tag("keySig")):
            before.remove(key)
        before.attrib.pop("keysig", None)
        return before
    definition = etree.Element(_tag("scoreDef"))
    measure.addprevious(definition)
    return definition


def _rests(measure: Any, *, first: bool = False) -> list[Any]:
    """The whole-bar rests of a measure in which every staff rests and nothing is printed; or none.

    The ``first`` of several may have words and a tempo at its beginning.
    """
    found = []
    for child in measure:
        name = etree.QName(child).localname
        if first and name in _OPENING and float(child.get("tstamp", "1")) <= 1:
            continue
        if name != "staff":
            return []
        layers = child.findall(_tag("layer"))
        if len(layers) != 1 or len(layers[0]) != 1 or etree.QName(layers[0][0]).localname not in _RESTING:
            return []
        found.append(layers[0][0])
    return found


def _long_rests(measures: list[Any]) -> None:
    run: list[Any] = []
    for measure in [*measures, None]:
        follows = (
            measure is not None
            and bool(_rests(measure, first=not run))
            and (not run or (run[-1].getnext() is measure and not run[-1].get("right")))
            and not measure.get("left")
        )
        if run and not follows:
            _merge(run)
            run = []
        if measure is not None and _rests(measure, first=not run):
            run.append(measure)


def _merge(run: list[Any]) -> None:
    if len(run) < 2:
        return
    first, last = run[0], run[-1]
    for rest in _rests(first, first=True):
        parent = rest.getparent()
        parent.remove(rest)
        etree.SubElement(parent, _tag("multiRest"), num=str(len(run)))
    if last.get("right"):
        first.set("right", last.get("right"))
    for measure in run[1:]:
        measure.getparent().remove(measure)
    if len(run) >= TURNING_BARS:
        following = first.getnext()
        if following is not None and following.tag in (_tag("measure"), _tag("scoreDef")):
            first.addnext(etree.Element(_tag("sb")))


def _marks(root: Any) -> None:
    for direction in root.iter(_tag("dir")):
        text = " ".join("".join(direction.itertext()).split())
        if text.startswith(OURS):
            for child in list(direction):
                direction.remove(child)
            direction.text = None
            rend = etree.SubElement(
                direction, _tag("rend"), fontsize="75%", fontstyle="normal", fontweight="bold"
            )
            rend.text = text.removeprefix(OURS)
            direction.set("type", "crossing")
    for verse in root.iter(_tag("verse")):
        label = verse.get("label", "")
        if label.startswith(OURS):
            # The label would become a tooltip on every single number.
            del verse.attrib["label"]
            verse.set("type", label.removeprefix(OURS))
