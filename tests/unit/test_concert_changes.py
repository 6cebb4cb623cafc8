"""Rest enough for mutes and instruments."""

from __future__ import annotations

import pytest

from annotator.change_times import needs
from annotator.concert.rests import mute_kind, rest_findings
from annotator.deciding import prepare
from annotator.options import Options
from tests.unit.tunes import demo, note, tune


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("con sord.", "mute-in"),
        ("senza sord.", "mute-out"),
        ("mit Dämpfer", "mute-in"),
        ("Dämpfer weg", "mute-out"),
        ("ôtez la sourdine", "mute-out"),
        ("avec sourdine", "mute-in"),
        ("muta in C, senza sord.", "mute-out"),
        ("dolce", None),
        ("muta in C", None),
    ],
)
def test_words_for_mutes(words: str, kind: str | None) -> None:
    assert mute_kind(words) == kind


def test_a_mute_without_time_to_take_it_is_a_finding() -> None:
    prepared = prepare(demo("08").read_bytes(), Options())
    found = rest_findings(prepared.played[0], prepared.clock)
    assert [(each.code, each.measure) for each in found] == [("short-rest-for-mute", "29")]
    assert "0.0 s" in found[0].message
    assert "3 s" in found[0].message


def test_a_mute_with_rest_enough_and_a_crook_with_rest_enough_are_none() -> None:
    for number in ("02", "03"):
        prepared = prepare(demo(number).read_bytes(), Options())
        assert rest_findings(prepared.played[0], prepared.clock) == ()


def test_a_change_of_crook_without_rest_is_a_finding() -> None:
    change = (
        "<attributes><transpose><diatonic>{0}</diatonic><chromatic>{1}</chromatic></transpose></attributes>"
    )
    head = change.format(3, 5)
    music = note("C5", 2) + "<direction><direction-type><words>muta in D</words></direction-type></direction>"
    data = tune(music + change.format(1, 2) + note("E5", 2), head=head)
    prepared = prepare(data, Options())
    found = rest_findings(prepared.played[0], prepared.clock)
    assert [each.code for each in found] == ["short-rest-to-change"]
    assert f"{needs()['instrument'].seconds:g} s" in found[0].message


def test_every_need_has_a_unit_and_a_reason() -> None:
    assert {"phrase", "crook", "instrument", "mute-in", "mute-out"} == set(needs())
    assert all(need.seconds > 0 and need.unit and need.why for need in needs().values())
