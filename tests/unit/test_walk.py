"""The walk through a measure, and that all who ask where something stands get the same answer."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from annotator.engraving.copy_source import copy_part
from annotator.engraving.copy_source import parse as parse_for_print
from annotator.exercises.excerpt import cut
from annotator.reading import is_trumpet
from annotator.score.reader import open_text, read
from annotator.score.signs import dynamics
from annotator.score.walk import Time, Walk, time_of

NOTE = "<note>{}<pitch><step>G</step><octave>4</octave></pitch>{}<voice>{}</voice></note>"


def note(duration: int, kind: str = "", voice: int = 1) -> str:
    """A note of ``duration`` divisions; ``kind`` is "", "chord" or "grace"."""
    return NOTE.format(
        f"<{kind}/>" if kind else "",
        "" if kind == "grace" else f"<duration>{duration}</duration>",
        voice,
    )


def move(tag: str, duration: int) -> str:
    return f"<{tag}><duration>{duration}</duration></{tag}>"


def measure(*children: str) -> etree._Element:
    return etree.fromstring(f"<measure>{''.join(children)}</measure>")


def onsets(walk: Walk, *children: str) -> list[float]:
    return [onset for tag, _, onset, _ in walk.through(measure(*children)) if tag == "note"]


def test_notes_follow_one_another_and_a_chord_stands_where_its_first_note_does() -> None:
    walk = Walk(2)
    assert onsets(walk, note(2), note(2, "chord"), note(0, "grace"), note(1), note(1, "chord")) == [
        0,
        0,
        1,
        1,
        1,
    ]
    assert walk.length == 1.5


def test_a_backup_never_leads_before_the_measure() -> None:
    walk = Walk()
    assert onsets(walk, note(1), move("backup", 3), note(2), move("forward", 1), note(1)) == [0, 0, 3]
    assert walk.length == 4


def test_divisions_last_and_what_cannot_be_divisions_changes_nothing() -> None:
    walk = Walk()
    change = "<attributes><divisions>{}</divisions></attributes>"
    assert onsets(walk, change.format(4), note(4), note(2), change.format(2), note(2)) == [0, 1, 1.5]
    for nothing in ("0", "-3", "many", "nan", "inf", ""):
        assert onsets(walk, change.format(nothing), note(2), note(2)) == [0, 1]


@given(
    st.lists(
        st.one_of(
            st.integers(0, 8).map(note),
            st.integers(0, 8).map(lambda length: note(length, "chord")),
            st.just(note(0, "grace")),
            st.tuples(st.sampled_from(("backup", "forward")), st.integers(0, 12)).map(lambda m: move(*m)),
        ),
        max_size=12,
    )
)
@settings(max_examples=50)
def test_nothing_stands_outside_its_measure(children: list[str]) -> None:
    walk = Walk(4)
    places = [(onset, onset + length) for _, _, onset, length in walk.through(measure(*children))]
    assert all(0 <= start <= end for start, end in places)
    assert all(start <= walk.length for start, _ in places)


@pytest.mark.parametrize(
    ("beats", "unit", "quarters"),
    [("4", "4", 4), ("3+2", "8", 2.5), ("6", "8", 3), ("2", "2", 4), ("3", "16", 0.75)],
)
def test_a_time_signature_says_how_long_a_measure_is(beats: str, unit: str, quarters: float) -> None:
    found = time_of(etree.fromstring(f"<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time>"))
    assert found is not None
    assert found.quarters == quarters


def test_several_pairs_of_beats_add_up_and_none_count_nothing() -> None:
    pairs = "<time><beats>3</beats><beat-type>8</beat-type><beats>2</beats><beat-type>4</beat-type></time>"
    assert time_of(etree.fromstring(pairs)) == Time(4, 4)
    assert time_of(etree.fromstring("<time><senza-misura/></time>")) is None
    with pytest.raises(ValueError, match="waltz/4"):
        time_of(etree.fromstring("<time><beats>waltz</beats><beat-type>4</beat-type></time>"))


# A measure of 3+2 eighths whose second voice backs up too far, with grace notes, a chord, a gap, a dynamic
# and words; then an empty measure, which has the time signature's length.
AWKWARD = (
    '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Trumpet</part-name></score-part>'
    '</part-list><part id="P1"><measure number="1"><attributes><divisions>2</divisions><time>'
    "<beats>3+2</beats><beat-type>8</beat-type></time></attributes>"
    + note(2)
    + note(2, "chord")
    + note(0, "grace")
    + move("forward", 1)
    + "<direction><direction-type><dynamics><f/></dynamics></direction-type></direction>"
    + "<direction><direction-type><words>Presto</words></direction-type></direction>"
    + note(2)
    + move("backup", 9)
    + note(1, voice=2)
    + note(4, voice=2)
    + '</measure><measure number="2"/></part></score-partwise>'
).encode()


def test_all_who_walk_a_measure_agree() -> None:
    opened = open_text(AWKWARD.decode())
    score = read(opened, (), is_trumpet)
    part = score.parts[0]
    voices = {(line.voice, line.rank): [each.offset for each in line.notes] for line in part.lines}
    assert voices == {("1", 0): [0, 1, 1.5], ("1", 1): [0], ("2", 0): [0, 0.5]}
    assert [(each.length, each.beats, each.beat_type) for each in part.measures] == [(2.5, 5, 8), (2.5, 5, 8)]
    assert [tempo.position for tempo in score.tempos] == [1.5]
    assert [mark.offset for mark in dynamics(opened.root, "P1")] == [1.5]
    bars = copy_part(parse_for_print(AWKWARD), "P1").bars
    assert [(bar.length, bar.lead, bar.trail) for bar in bars] == [(2.5, 0, 0), (2.5, 2.5, 2.5)]
    music = opened.root.find("part/measure")
    assert music is not None
    (bar,) = cut([(music, 0, 2.0)], part.lines[0], 0, {})
    gaps = [each.findtext("duration") for each in bar.elements if each.tag == "forward"]
    assert gaps == ["1"]
