"""What there is to learn from in a part that Crookline marked, an editor saved, and a player corrected."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from lxml import etree

import annotator
from annotator.learning.examples import examples
from tests.unit.parts import NoteText, part_xml
from tests.unit.test_resaved import SAVES, parsed

NOTES = [NoteText(step, 0, octave) for octave in (4, 5) for step in "CDEFGAB"]


def learnt_from(data: bytes) -> list[str]:
    """The fingerings to learn from, note by note; "" where there is none."""
    found = examples([("mine.musicxml", data)], annotator.Options())
    return [printed for phrase in found for printed in phrase.printed]


@pytest.mark.parametrize("save", SAVES)
@pytest.mark.parametrize("changed", [(), (5,), (2, 9)])
def test_what_a_player_changed_is_learnt_from_and_what_we_printed_is_not(
    save: Callable[[bytes], bytes], changed: tuple[int, ...]
) -> None:
    marked = annotator.annotate(part_xml(NOTES), annotator.Options(mark=("fingering",))).data
    root = parsed(save(marked))
    assert not root.xpath("//processing-instruction()")
    fingerings = list(root.iter("fingering"))
    assert len(fingerings) == len(NOTES)
    for place in changed:
        assert fingerings[place].text != "1-2-3"
        fingerings[place].text = "1-2-3"
    found = learnt_from(etree.tostring(root))
    if not changed:
        assert found == []
    else:
        assert found == ["1-2-3" if place in changed else "" for place in range(len(NOTES))]


def test_one_that_a_player_added_is_learnt_from() -> None:
    marked = annotator.annotate(part_xml(NOTES), annotator.Options(mark=("fingering",), show="awkward")).data
    root = parsed(SAVES[0](marked))
    note = [each for each in root.iter("note") if each.find(".//fingering") is None][1]
    note.append(etree.fromstring("<notations><technical><fingering>1-3</fingering></technical></notations>"))
    assert [each for each in learnt_from(etree.tostring(root)) if each] == ["1-3"]
