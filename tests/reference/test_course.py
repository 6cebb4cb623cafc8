"""Repeats, endings and jumps unfolded as music21's expander (``Stream.expandRepeats``) unfolds them."""

from __future__ import annotations

from pathlib import Path

import music21
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from annotator.concert.course import unfold
from annotator.concert.load import load_of_line
from annotator.deciding import prepare, prepare_tree
from annotator.options import Options
from annotator.score.signs import signs
from tests.reference.corpus import LILYPOND_SUITE

DEMO_FOLDER = Path(__file__).parents[2] / "demo_scores"
# A section: so many measures, repeated how (0: not, −1: with two endings, else so many times).
SECTION = st.tuples(st.integers(1, 3), st.sampled_from([0, 0, 2, 3, -1]))
STEPS = "CDEFGAB"


def measure(number: int, before: str = "", after: str = "", left: str = "", right: str = "") -> str:
    """A measure of 4/4 with one whole note, another pitch in each of 21 measures."""
    octave, step = divmod(number, 7)
    attributes = (
        "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
        if number == 0
        else ""
    )
    bars = "".join(
        f'<barline location="{side}">{content}</barline>' if content else ""
        for side, content in (("left", left), ("right", right))
    )
    opening, closing = (bars, "") if left and not right else ("", bars)
    if left and right:
        opening = f'<barline location="left">{left}</barline>'
        closing = f'<barline location="right">{right}</barline>'
    return (
        f'<measure number="{number + 1}">{attributes}{opening}{before}<note><pitch><step>{STEPS[step]}</step>'
        f"<octave>{3 + octave}</octave></pitch><duration>4</duration><voice>1</voice><type>whole</type>"
        f"</note>{after}{closing}</measure>"
    )


def score(measures: list[str]) -> bytes:
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Trumpet</part-name>'
        f'</score-part></part-list><part id="P1">{"".join(measures)}</part></score-partwise>'
    ).encode()


def of_sections(sections: list[tuple[int, int]]) -> bytes:
    """A part made of sections."""
    made: list[str] = []
    forward = '<repeat direction="forward"/>'
    for count, how in sections:
        first, last = len(made), len(made) + count - 1
        for number in range(first, last + 1):
            left = forward if how and number == first else ""
            right = f'<repeat direction="backward" times="{how}"/>' if how > 0 and number == last else ""
            made.append(measure(number, left=left, right=right))
        if how == -1:
            one = (
                '<ending number="1" type="start"/>',
                '<ending number="1" type="stop"/><repeat direction="backward"/>',
            )
            two = '<ending number="2" type="start"/>', '<ending number="2" type="stop"/>'
            made.append(measure(len(made), left=one[0], right=one[1]))
            made.append(measure(len(made), left=two[0], right=two[1]))
    return score(made)


def ours(data: bytes) -> list[int]:
    """The pitches in the order we play the measures."""
    prepared, root = prepare_tree(data, Options())
    part = prepared.played[0].part
    pitches = {note.measure: note.pitch.semitone for note in part.lines[0].notes}
    return [pitches[index] for index in unfold(signs(root, part.id)).order]


def theirs(data: bytes) -> list[int]:
    """The same as music21 has them after expanding the repeats."""
    parsed = music21.converter.parseData(data.decode(), format="musicxml")
    assert isinstance(parsed, music21.stream.Score)
    expanded = parsed.parts[0].expandRepeats()
    return [note.pitch.midi for note in expanded.recurse().notes]


@settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(SECTION, min_size=1, max_size=4))
def test_sections_with_repeats_and_endings(sections: list[tuple[int, int]]) -> None:
    data = of_sections(sections)
    assert ours(data) == theirs(data)


def words(text: str, sound: str) -> str:
    return f"<direction><direction-type><words>{text}</words></direction-type><sound {sound}/></direction>"


def sign(name: str) -> str:
    return f'<direction><direction-type><{name}/></direction-type><sound {name}="{name}"/></direction>'


@settings(deadline=None, max_examples=12, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(1, 5), st.integers(0, 4))
def test_da_capo_al_fine(fine: int, more: int) -> None:
    last = fine + 1 + more
    made = [
        measure(
            number,
            after=words("Fine", 'fine="yes"')
            if number == fine
            else words("D.C. al Fine", 'dacapo="yes"')
            if number == last
            else "",
        )
        for number in range(last + 1)
    ]
    data = score(made)
    assert ours(data) == theirs(data)


@settings(deadline=None, max_examples=12, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 3), st.integers(1, 3), st.integers(1, 3), st.integers(1, 3))
def test_dal_segno_al_coda(segno: int, first: int, second: int, coda: int) -> None:
    to_coda, back = segno + first, segno + first + second
    made = []
    for number in range(back + coda + 1):
        before = sign("segno") if number == segno else sign("coda") if number == back + 1 else ""
        after = ""
        if number == to_coda:
            after = words("To Coda", 'tocoda="coda"')
        elif number == back:
            after = words("D.S. al Coda", 'dalsegno="segno"')
        made.append(measure(number, before, after))
    data = score(made)
    order = ours(data)
    written = [note.measure for note in prepare(data, Options()).played[0].part.lines[0].notes]
    assert len(order) == len(written) + first + 1
    assert order == theirs(data)


@pytest.mark.parametrize("name", ["04", "05"])
def test_a_demo_part_is_as_long_as_music21_has_it_unfolded(name: str) -> None:
    path = next(path for path in DEMO_FOLDER.glob(f"{name}*"))
    prepared, root = prepare_tree(path.read_bytes(), Options())
    played = prepared.played[0]
    course = unfold(signs(root, played.part.id))
    quarters = sum(played.part.measures[index].length for index in course.order)
    parsed = music21.converter.parse(path)
    assert isinstance(parsed, music21.stream.Score)
    assert quarters == parsed.parts[0].expandRepeats().duration.quarterLength
    found = load_of_line(root, played, played.lines[0], prepared.clock)
    assert 0 < found.playing <= found.duration


@pytest.mark.parametrize("name", ["45a", "45b"])
def test_repeats_of_the_lilypond_suite(name: str) -> None:
    """45c and 45e are left out: they nest repeats, which printed music does not, and players differ."""
    path = next(path for path in LILYPOND_SUITE if path.name.startswith(name))
    prepared, root = prepare_tree(path.read_bytes(), Options(part=("P1",)))
    part = prepared.played[0].part
    parsed = music21.converter.parse(path)
    assert isinstance(parsed, music21.stream.Score)
    theirs = [str(bar.number) for bar in parsed.parts[0].expandRepeats().getElementsByClass("Measure")]
    order = unfold(signs(root, part.id)).order
    assert [part.measures[index].number for index in order] == theirs


@pytest.mark.parametrize("name", ["01", "02", "03", "04", "08", "09", "10", "11"])
def test_seconds_of_playing_as_music21_counts_them(name: str) -> None:
    """Parts of one player and without gradual tempi; notes of cues are nobody's to play.

    music21: ``expandRepeats``, then ``secondsMap`` of the unfolded part.
    """
    path = next(path for path in DEMO_FOLDER.glob(f"{name}*"))
    prepared, root = prepare_tree(path.read_bytes(), Options())
    played = prepared.played[0]
    parsed = music21.converter.parse(path)
    assert isinstance(parsed, music21.stream.Score)
    part = parsed.parts[0]
    try:
        part = part.expandRepeats()
    except music21.repeat.ExpanderException:
        assert unfold(signs(root, played.part.id)).notes == ()
    theirs = sum(
        each["durationSeconds"]
        for each in part.flatten().secondsMap
        if isinstance(each["element"], music21.note.Note)
        and getattr(each["element"].style, "noteSize", "") != "cue"
    )
    found = load_of_line(root, played, played.lines[0], prepared.clock)
    assert found.playing == pytest.approx(theirs, abs=0.1)
