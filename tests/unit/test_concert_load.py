"""Seconds of playing, rest, high and loud."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from annotator.concert.load import CAUTION, REST, Sounding, load_of, load_of_line, together
from annotator.deciding import Prepared, prepare_tree
from annotator.options import Options
from annotator.score.signs import dynamics
from tests.unit.tunes import dynamic, note, rest, tune


def first_load(read: tuple[Prepared, etree._Element]) -> object:
    prepared, root = read
    played = prepared.played[0]
    return load_of_line(root, played, played.lines[0], prepared.clock)


def test_seconds_of_playing_rest_high_and_loud() -> None:
    # A beat is a second: C5 p, A5 f two beats, a rest.
    data = tune(dynamic("p") + note("C5") + dynamic("f") + note("A5", 2) + rest())
    prepared, root = prepare_tree(data, Options())
    played = prepared.played[0]
    found = load_of_line(root, played, played.lines[0], prepared.clock)
    assert (found.duration, found.playing, found.rest) == (4.0, 3.0, 1.0)
    assert (found.high, found.high_sounding, found.loud) == (2.0, 2.0, 2.0)
    assert (found.longest, found.longest_from, found.longest_to) == (3.0, "1", "1")
    assert [mark.level for mark in dynamics(root, "P1")] == [-1, 1]


def test_high_is_counted_as_written_for_the_instrument_and_as_it_sounds() -> None:
    prepared, root = prepare_tree(tune(note("G5", 4)), Options(instrument="bb-trumpet"))
    played = prepared.played[0]
    found = load_of_line(root, played, played.lines[0], prepared.clock)
    # Sounding G5 is A5 written for the B flat trumpet.
    assert (found.high, found.high_sounding, found.loud) == (4.0, 0.0, None)


def test_a_repeat_counts_twice() -> None:
    end = '<barline location="right"><repeat direction="backward"/></barline>'
    once = first_load(prepare_tree(tune(note("C5", 3) + rest()), Options()))
    twice = first_load(prepare_tree(tune(note("C5", 3) + rest() + end), Options()))
    assert (getattr(once, "playing", 0), getattr(twice, "playing", 0)) == (3.0, 6.0)
    assert getattr(twice, "duration", 0) == 8.0


NOTES = st.lists(st.tuples(st.floats(0.0, 3.0), st.floats(0.05, 4.0), st.booleans()), max_size=20)


@given(NOTES, st.floats(0, 5))
def test_the_parts_of_a_load_fit_into_the_whole(found: list[tuple[float, float, bool]], after: float) -> None:
    now, notes = 0.0, []
    for gap, length, high in found:
        pitch = 84 if high else 72
        notes.append(Sounding(now + gap, now + gap + length, pitch, pitch, high, "1"))
        now += gap + length
    duration = now + after
    made = load_of(notes, duration)
    assert made.playing + made.rest <= duration + 1e-6
    assert made.high == pytest.approx(made.loud or 0.0)
    assert made.high <= made.playing + 1e-9
    assert made.longest <= duration + 1e-9
    assert made.playing == pytest.approx(sum(length for _, length, _ in found))
    # Rests shorter than a second are in the longest stretch, not among the rests.
    gaps = [gap for place, (gap, _, _) in enumerate(found) if gap >= REST + 1e-6]
    assert made.rest >= sum(gaps) - 1e-6 if notes else made.rest == duration
    both = together([made, made])
    assert both.playing == pytest.approx(2 * made.playing)
    assert both.longest == made.longest


def test_a_load_is_never_called_safe_and_says_whom_to_ask() -> None:
    folded = CAUTION.lower()
    assert "safe" not in folded
    for words in ("stop", "hurts", "numb", "teacher", "health professional", "common practice, no source"):
        assert words in folded
