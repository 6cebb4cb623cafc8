"""The clock: seconds from tempo marks."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotator.score.model import Tempo
from annotator.timing import Clock, meaning


def words(position: float, text: str) -> Tempo:
    return Tempo(position, 0, None, "words", text)


def mark(position: float, speed: float) -> Tempo:
    return Tempo(position, 0, speed, "metronome")


def test_no_tempo_is_said_to_be_assumed() -> None:
    clock = Clock()
    assert clock.seconds(100) == pytest.approx(60)
    assert clock.sources == ("default",)
    assert "assumed" in clock.sentence


def test_metronome_outweighs_sound_and_words() -> None:
    clock = Clock([words(0, "Presto"), Tempo(0, 0, 90, "sound"), mark(0, 60)])
    assert clock.seconds(8) == pytest.approx(8)
    assert clock.source == "metronome"


def test_steps() -> None:
    clock = Clock([mark(0, 60), mark(4, 120)])
    assert [clock.seconds(place) for place in (0, 2, 4, 6)] == pytest.approx([0, 2, 4, 5])


def test_a_rit_slows_evenly_until_the_next_mark() -> None:
    clock = Clock([mark(0, 100), words(8, "rit."), words(12, "a tempo")])
    assert clock.quarters_per_minute(8) == pytest.approx(100)
    assert clock.quarters_per_minute(10) == pytest.approx(85)
    assert clock.quarters_per_minute(12) == pytest.approx(100)
    # The integral of 60 / q over the ramp, by the midpoint rule.
    steps = 4000
    wanted = sum(60 / (100 - 30 * (i + 0.5) / steps) * 4 / steps for i in range(steps))
    assert clock.seconds(12) - clock.seconds(8) == pytest.approx(wanted, rel=1e-6)


def test_a_rit_with_no_mark_after_it_ends_by_itself() -> None:
    clock = Clock([mark(0, 100), words(8, "rall.")])
    assert clock.quarters_per_minute(1000) == pytest.approx(70)


def test_little_by_little_leads_into_the_next_mark() -> None:
    clock = Clock([mark(0, 100), words(8, "poco a poco stringendo"), mark(48, 140)])
    assert clock.quarters_per_minute(28) == pytest.approx(120)
    assert clock.quarters_per_minute(47.999) == pytest.approx(140, abs=0.1)


def test_a_rit_into_a_slower_mark_arrives_there_and_into_a_faster_one_does_not() -> None:
    slower = Clock([mark(0, 100), words(8, "rit."), mark(12, 80)])
    assert slower.quarters_per_minute(11.999) == pytest.approx(80, abs=0.1)
    faster = Clock([mark(0, 100), words(8, "rit."), mark(12, 130)])
    assert faster.quarters_per_minute(11.999) == pytest.approx(70, abs=0.1)


def test_back_to_the_first_tempo() -> None:
    clock = Clock([mark(0, 80), mark(8, 132), words(16, "meno mosso"), words(20, "Tempo I")])
    assert clock.quarters_per_minute(17) == pytest.approx(132 * 0.85)
    assert clock.quarters_per_minute(21) == pytest.approx(80)


@pytest.mark.parametrize("text", ["", "dolce", "written", "con sord.", "solo", "prestige"])
def test_other_words_say_nothing(text: str) -> None:
    assert meaning(text) is None


def test_small_letters_in_the_course_of_the_music_are_expression() -> None:
    clock = Clock([mark(0, 100), words(8, "largamente"), words(16, "Largo"), words(24, "più mosso")])
    assert [clock.quarters_per_minute(place) for place in (9, 17)] == pytest.approx([100, 46])
    assert clock.quarters_per_minute(25) > 46
    assert Clock([words(0, "largo")]).quarters_per_minute(1) == pytest.approx(46)


def test_the_longest_word_counts() -> None:
    found = meaning("Allegro ma non troppo, poco rit.")
    assert found is not None
    assert (found.kind, found.value) == ("tempo", 116)


def test_broken_speeds_are_passed_over() -> None:
    clock = Clock([Tempo(0, 0, 0.0, "sound"), Tempo(0, 0, float("nan"), "sound")])
    assert clock.sources == ("default",)


TEMPOS = st.lists(
    st.one_of(
        st.builds(mark, st.floats(0, 200), st.floats(20, 300)),
        st.builds(
            words, st.floats(0, 200), st.sampled_from(["rit.", "accel.", "a tempo", "Presto", "più mosso"])
        ),
    ),
    max_size=8,
)


@given(TEMPOS, st.lists(st.floats(0, 400), min_size=2, max_size=10))
def test_time_runs_forward_and_back_again(tempos: list[Tempo], places: list[float]) -> None:
    clock = Clock(tempos)
    places.sort()
    seconds = [clock.seconds(place) for place in places]
    assert seconds == sorted(seconds)
    for place, second in zip(places, seconds, strict=True):
        assert clock.position(second) == pytest.approx(place, abs=1e-6)
