"""Where a change of words is made: in a rest long enough for it. How long is common practice, no source."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annotator.change_times import needs
from annotator.instruments import load
from annotator.reading import Reading, segments
from annotator.reading.timeline import timeline
from annotator.score.model import Part, Tempo
from annotator.timing import Clock
from tests.unit.part_making import part

C_TRUMPET = load("c-trumpet")
BAR = "C5 C5 C5 C5"
REST = "- - - -"
F = (3, 5)


def read(made: Part, quarters_per_minute: float = 120) -> Reading:
    return segments(made, C_TRUMPET, clock=Clock([Tempo(0.0, 0, quarters_per_minute, "metronome")]))


def crooks(reading: Reading) -> list[tuple[str, str]]:
    return [(segment.crook.id, segment.from_measure) for segment in reading.segments]


def found(reading: Reading, code: str) -> list[str]:
    return [finding.message for finding in reading.findings if finding.code == code]


def tune(*bars: str, words: list[tuple[float, str]]) -> Part:
    return part(" | ".join(bars), name="Tromba in F", words=words)


def test_a_quarter_rest_in_the_phrase_is_no_place_to_change() -> None:
    made = tune(BAR, "C5 C5 - C5", "C5 C5 C5 -", REST, REST, BAR, words=[(2, "muta in D")])
    reading = read(made)
    assert crooks(reading) == [("F", "1"), ("D", "3")]
    assert reading.segments[1].from_position == 11
    assert found(reading, "no-rest-to-change") == found(reading, "rest-too-short") == []


def test_words_in_the_quarter_rest_itself_wait_too() -> None:
    made = tune(BAR, "C5 C5 - C5", "C5 C5 C5 -", REST, REST, BAR, words=[(2.5, "muta in D")])
    assert read(made).segments[1].from_position == 11


def test_words_in_a_rest_of_a_bar_mean_that_rest() -> None:
    made = tune(BAR, REST, BAR, *[REST] * 4, BAR, words=[(2, "muta in D")])
    reading = read(made)
    assert crooks(reading) == [("F", "1"), ("D", "2")]
    (message,) = found(reading, "no-rest-to-change")
    assert "2 s of rest" in message
    assert f"wants {needs()['crook'].seconds:g} s" in message


def test_seconds_count_and_not_bars() -> None:
    made = tune(BAR, BAR, REST, BAR, REST, REST, REST, BAR, words=[(2, "muta in D")])
    assert crooks(read(made, 50)) == [("F", "1"), ("D", "3")]
    fast = read(made, 160)
    assert crooks(fast) == [("F", "1"), ("D", "5")]
    (message,) = found(fast, "rest-too-short")
    assert "measure 3" in message
    assert "measure 5" in message


def test_without_a_long_rest_the_longest_is_taken_and_said() -> None:
    made = tune(BAR, BAR, "- - C5 C5", "- - - -", BAR, BAR, words=[(2, "muta in D")])
    reading = read(made)
    assert crooks(reading) == [("F", "1"), ("D", "4")]
    assert len(found(reading, "no-rest-to-change")) == 1


def test_over_the_last_phrase_it_is_for_what_comes_after() -> None:
    reading = read(tune(BAR, "C5 C5 - C5", "C5 C5 C5 C5", words=[(2, "muta in D")]))
    assert reading.at(11).crook.id == "F"
    (message,) = found(reading, "no-rest-to-change")
    assert "last phrase" in message
    assert "read in F" in message


def test_another_instrument_wants_longer() -> None:
    made = tune(BAR, BAR, REST, REST, REST, BAR, *[REST] * 6, BAR, words=[(2, "to Flugelhorn")])
    assert crooks(read(made)) == [("F", "1"), ("Bb", "7")]


def test_a_transposition_that_says_the_same_decides_where() -> None:
    made = part(
        " | ".join([BAR, BAR, REST, BAR, REST, REST, REST, BAR]),
        name="Tromba in F",
        transposes=[(1, F), (4, (1, 2))],
        words=[(2, "muta in D")],
    )
    reading = read(made)
    assert crooks(reading) == [("F", "1"), ("D", "4")]
    assert found(reading, "unannounced-change") == []


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.sampled_from([BAR, REST, "C5 C5 - C5", "C5 - C5 C5", "C5 C5 C5 -"]), min_size=2, max_size=12),
    st.integers(0, 40),
    st.sampled_from([60, 120, 200]),
)
def test_no_change_within_a_phrase(bars: list[str], at: int, tempo: float) -> None:
    """An announcement takes effect at once, or in a rest that is more than a breath; short of what a change
    wants it is a finding."""
    position = 4 + at % (4 * (len(bars) - 1))
    reading = read(tune(*bars, words=[(1 + position / 4, "muta in D")]), tempo)
    (line,) = tune(*bars, words=[]).lines or (None,)
    if "last phrase" in "".join(found(reading, "no-rest-to-change")):
        assert [segment.crook.id for segment in reading.segments] == ["F"]
        return
    assert [segment.crook.id for segment in reading.segments] == ["F", "D"]
    changed = reading.segments[1].from_position
    if line is None:
        return
    ends = [note.onset + 1 for note in line.notes if note.onset < changed]
    starts = [note.onset for note in line.notes if note.onset >= changed]
    if not ends or not starts:
        return
    seconds = (starts[0] - ends[-1]) * 60 / tempo
    assert changed == position or seconds >= needs()["phrase"].seconds
    assert (seconds < needs()["crook"].seconds) == bool(found(reading, "no-rest-to-change"))


@pytest.mark.parametrize(
    ("name", "first", "words", "then"),
    [
        # The instrument stays what it is when only the note changes.
        ("Piccolo Trumpet in B♭", "piccolo Bb", "in A", "piccolo A"),
        ("Piccolo Trumpet in A", "piccolo A", "muta in B♭", "piccolo Bb"),
        ("Bass Trumpet in E♭", "bass Eb", "in D", "bass D"),
        ("Basstrompete in Es", "bass Eb", "in C", "bass C"),
        # It is another one where the words name it.
        ("Piccolo Trumpet in A", "piccolo A", "Trumpet in A", "A"),
        ("Tromba in D", "D", "in A", "A"),
    ],
)
def test_the_register_is_inherited(name: str, first: str, words: str, then: str) -> None:
    reading = read(part(" | ".join([BAR, REST, REST, BAR]), name=name, words=[(2, words)]))
    assert [segment.crook.id for segment in reading.segments] == [first, then]


def test_a_register_in_the_heading_counts_against_the_transposition() -> None:
    low = read(part(BAR, name="Piccolo Trumpet in A", transposes=[(1, (-2, -3))]))
    (message,) = found(low, "crook-disagreement")
    assert "piccolo A" in message
    assert low.segments[0].crook.id == "A"
    assert (
        found(read(part(BAR, name="Piccolo Trumpet in A", transposes=[(1, (5, 9))])), "crook-disagreement")
        == []
    )


texts = st.sampled_from(["muta in D", "muta in E", "in E", "to Flugelhorn", "to Trumpet", "muta in C"])


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.sampled_from([BAR, REST, "C5 C5 - C5", "C5 C5 C5 -"]), min_size=2, max_size=10),
    st.lists(st.tuples(st.integers(4, 39), texts), max_size=4),
    st.booleans(),
)
def test_no_finding_says_what_was_not_done(
    bars: list[str], placed: list[tuple[int, str]], moved: bool
) -> None:
    """Where a finding says that a crook was read or believed, notes are read in it (or none are left)."""
    words = sorted((1 + (at % (4 * len(bars))) / 4, text) for at, text in placed)
    made = part(" | ".join(bars), name="Tromba in F", words=words, transposes=[(1, F)] if moved else [])
    told = timeline(made)
    crooks = {stage.crook for stage in told.stages}
    for noticed in told.noticed:
        if noticed.code in ("change-without-transpose", "change-without-crook", "rest-too-short"):
            assert noticed.about["crook"] in crooks
        if noticed.code == "no-rest-to-change" and noticed.how == "after":
            last = max(note.onset for line in made.lines for note in line.notes)
            before = [stage for stage in told.stages if stage.position <= last]
            assert before[-1].crook == noticed.about["kept"]
