"""The course of a piece: repeats, endings and jumps, in the order they are played."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from annotator.concert.course import unfold
from annotator.deciding import prepare_tree
from annotator.options import Options
from annotator.score.signs import Signs, signs
from tests.unit.tunes import demo


def jump(*names: str) -> Signs:
    return Signs(jumps=frozenset(names))


PLAIN = Signs()


def test_a_repeat_goes_back_to_its_beginning_or_to_the_start() -> None:
    assert unfold([PLAIN, Signs(backward=2), PLAIN]).order == (0, 1, 0, 1, 2)
    assert unfold([PLAIN, Signs(forward=True), Signs(backward=3), PLAIN]).order == (0, 1, 2, 1, 2, 1, 2, 3)


def test_endings_belong_to_their_turn() -> None:
    one = Signs(backward=2, endings=frozenset({1}), closes=True)
    two = Signs(endings=frozenset({2}), closes=True)
    assert unfold([PLAIN, one, two, PLAIN]).order == (0, 1, 0, 2, 3)
    first_two = Signs(backward=2, endings=frozenset({1, 2}), closes=True)
    third = Signs(endings=frozenset({3}), closes=True)
    assert unfold([PLAIN, first_two, third]).order == (0, 1, 0, 1, 0, 2)
    # A later repeat without a sign of its own begins after the endings.
    assert unfold([PLAIN, one, two, PLAIN, Signs(backward=2)]).order == (0, 1, 0, 2, 3, 4, 3, 4)


def test_da_capo_al_fine_and_dal_segno_al_coda() -> None:
    assert unfold([PLAIN, jump("fine"), jump("dacapo")]).order == (0, 1, 2, 0, 1)
    course = unfold([PLAIN, jump("segno"), jump("tocoda"), jump("dalsegno"), jump("coda")])
    assert course.order == (0, 1, 2, 3, 1, 2, 4)
    assert any("dal segno" in note for note in course.notes)


def test_repeats_are_not_taken_again_after_a_jump_and_the_last_ending_is_played() -> None:
    one = Signs(backward=2, endings=frozenset({1}), closes=True)
    two = Signs(endings=frozenset({2}), closes=True)
    last = jump("dacapo")
    assert unfold([PLAIN, one, two, last]).order == (0, 1, 0, 2, 3, 0, 2, 3)


def test_what_cannot_be_followed_is_said() -> None:
    course = unfold([PLAIN, jump("dalsegno"), PLAIN])
    assert course.order == (0, 1, 2)
    assert any("no segno" in note for note in course.notes)
    # An ending for a time that never comes.
    course = unfold([PLAIN, Signs(endings=frozenset({3}), closes=True), PLAIN])
    assert course.order == (0, 2)
    assert any("1 measure is never reached" in note for note in course.notes)


SIGN = st.builds(
    Signs,
    forward=st.booleans(),
    backward=st.sampled_from([0, 0, 0, 2, 3]),
    after_jump=st.booleans(),
    endings=st.sampled_from([frozenset[int](), frozenset[int](), frozenset({1}), frozenset({2})]),
    closes=st.booleans(),
    jumps=st.sets(st.sampled_from(["segno", "coda", "tocoda", "dacapo", "dalsegno", "fine"]), max_size=1).map(
        frozenset
    ),
)


@given(st.lists(SIGN, max_size=12))
def test_a_course_ends_whatever_the_signs_say(found: list[Signs]) -> None:
    course = unfold(found)
    assert set(course.order) <= set(range(len(found)))
    if not any(sign.backward or sign.jumps or sign.endings for sign in found):
        assert course.order == tuple(range(len(found)))


@pytest.mark.parametrize(
    ("number", "runs"),
    [
        ("04", [("1", "51"), ("1", "30")]),  # D.C. al Fine, Fine in measure 30
        ("05", [("1", "12"), ("5", "11"), ("13", "37"), ("30", "49")]),  # two endings, a repeated trio
        ("09", [("0", "38"), ("9", "16"), ("39", "44")]),  # D.S. al Coda
    ],
)
def test_the_demo_parts_that_go_back(number: str, runs: list[tuple[str, str]]) -> None:
    prepared, root = prepare_tree(demo(number).read_bytes(), Options())
    part = prepared.played[0].part
    numbers = [measure.number for measure in part.measures]
    expected = [
        index for first, last in runs for index in range(numbers.index(first), numbers.index(last) + 1)
    ]
    assert list(unfold(signs(root, part.id)).order) == expected


def test_signs_are_read_from_a_timewise_score_too() -> None:
    root = etree.fromstring(
        b'<score-timewise><part-list><score-part id="P1"/></part-list><measure number="1"><part id="P1">'
        b'<barline><repeat direction="backward" times="3"/></barline></part></measure></score-timewise>'
    )
    assert signs(root, "P1")[0].backward == 3
