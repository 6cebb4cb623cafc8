"""Who plays what on a shared staff. How players share one is common practice, no source."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import annotator
from annotator.deciding import prepare
from annotator.options import Options
from annotator.reading.player_names import players_named
from annotator.score.model import Part

BACK = "<backup><duration>4</duration></backup>"


def note(pitch: str, beats: int = 1, *, voice: int = 1, chord: bool = False) -> str:
    return (
        f"<note>{'<chord/>' if chord else ''}"
        f"<pitch><step>{pitch[0]}</step><octave>{pitch[1]}</octave></pitch>"
        f"<duration>{beats}</duration><voice>{voice}</voice></note>"
    )


def rest(beats: int, *, voice: int = 1) -> str:
    return f"<note><rest/><duration>{beats}</duration><voice>{voice}</voice></note>"


def music(text: str, *, voice: int = 1) -> str:
    """Quarters: "C5" a note, "E5+C5" a chord, "-" a rest, "'a 2'" words."""
    found = []
    for token in text.replace("a 2", "a_2").split():
        if token.startswith("'"):
            words = token.strip("'").replace("_", " ")
            found.append(f"<direction><direction-type><words>{words}</words></direction-type></direction>")
        elif token == "-":
            found.append(rest(1, voice=voice))
        else:
            first, *others = token.split("+")
            found.append(note(first, voice=voice))
            found += [note(each, voice=voice, chord=True) for each in others]
    return "".join(found)


def score(*measures: str, name: str = "Trumpets 1, 2 in C") -> bytes:
    head = "<attributes><divisions>1</divisions></attributes>"
    inside = "".join(
        f'<measure number="{number}">{head if number == 1 else ""}{each}</measure>'
        for number, each in enumerate(measures, start=1)
    )
    return (
        f'<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>{name}</part-name>'
        f'</score-part></part-list><part id="P1">{inside}</part></score-partwise>'
    ).encode()


def read(data: bytes) -> Part:
    return prepare(data, Options()).played[0].part


def lines(part: Part) -> list[str]:
    return [" ".join(each.pitch.name for each in line.notes) for line in part.lines]


@pytest.mark.parametrize(
    ("name", "count"),
    [
        ("Trumpets 1, 2 in D", 2), ("Trombe I-II in Fa", 2), ("Trompeten 1.2 in Es", 2),
        ("2 Trompeten in B", 2), ("Trumpet 1 & 2", 2), ("Trompettes 1–3", 3), ("Trumpet 2", 1),
        ("Tromba II in E", 1), ("Trombe in Re", 0), ("Trumpet in C", 0),
    ],
)  # fmt: skip
def test_a_name_says_how_many(name: str, count: int) -> None:
    assert len(players_named(name)) == count


def test_a_name_says_which() -> None:
    assert players_named("Tromba 2ª in Mi♭") == (2,)
    assert players_named("Trumpets 3, 4") == (3, 4)
    assert players_named("III. Trompete in F") == (3,)
    assert players_named("Trompete 1 in F, Trompete 2 in C") == (1, 2)


def test_numbers_are_those_of_the_name() -> None:
    part = read(score(music("E5+C5 E5+C5"), music("'3.' G5 G5 '4.' E5 E5"), name="Trumpets 3, 4 in C"))
    assert lines(part) == ["E5 E5 G5 G5", "C5 C5 E5 E5"]


def test_chords_in_one_voice_and_two_voices_are_two_players_not_three() -> None:
    two = music("G5 F5 E5 D5") + BACK + music("E5 D5 C5 G4", voice=2)
    alone = music("A5 - - -")  # nobody says that there are two, so the upper line has it
    part = read(score(music("E5+C5 F5+D5 E5+C5 -"), two, music("G5+E5 - - -"), alone, name="Trumpets in C"))
    assert lines(part) == ["E5 F5 E5 G5 F5 E5 D5 G5 A5", "C5 D5 C5 E5 D5 C5 G4 E5"]
    assert part.warnings == ()


def test_who_holds_a_note_does_not_have_the_next() -> None:
    held = note("C5") + note("E5", 2, chord=True) + note("A4") + rest(2)
    part = read(score(held))
    assert lines(part) == ["E5", "C5 A4"]
    assert part.warnings == ()


def test_words_say_whose_notes_they_are() -> None:
    part = read(
        score(
            music("'a 2' C5 C5 E5+C5 F5+D5"),
            music("'1.' G5 E5 - -"),
            music("'2.' D5 D5 - -"),
            music("'Solo' A5 - - -"),
            music("'unis.' C5 - - -"),
            music("'div.' E5+C5 D5 E5+C5 D5"),
        )
    )
    assert lines(part) == [
        "C5 C5 E5 F5 G5 E5 A5 C5 E5 D5 E5 D5",
        "C5 C5 C5 D5 D5 D5 C5 C5 D5 C5 D5",
    ]
    assert part.warnings == ()


def test_where_it_cannot_be_told_both_have_it_and_it_is_said() -> None:
    part = read(score(music("E5+C5 F5+D5 G5 G5"), music("'1.' C5 C5 C5 C5"), music("E5+C5 E5+C5 C5 -")))
    assert lines(part) == ["E5 F5 G5 G5 C5 C5 C5 C5 E5 E5 C5", "C5 D5 G5 G5 C5 C5 C5"]
    (finding,) = part.warnings
    assert (finding.code, finding.measure) == ("players-not-told", "1")
    assert "measure 1, 3" in finding.message


def test_a_voice_that_rests_is_a_player_who_rests() -> None:
    solo = music("G5 F5 E5 D5") + BACK + rest(4, voice=2)
    second = rest(4) + BACK + music("C5 C5 - -", voice=2)
    part = read(score(solo, second, music("E5 - - -") + BACK + music("C5 - - -", voice=2)))
    assert lines(part) == ["G5 F5 E5 D5 E5", "C5 C5 C5"]
    assert part.warnings == ()


def test_one_voice_with_numbers_is_two_players() -> None:
    part = read(score(music("'a 2' C5 C5 C5 C5"), music("'1.' G5 G5 '2.' E5 E5"), name="Trombe in C"))
    assert lines(part) == ["C5 C5 C5 C5 G5 G5", "C5 C5 C5 C5 E5 E5"]


def test_numbers_in_one_players_part_mean_nothing() -> None:
    part = read(score(music("'a 2' C5 C5 C5 C5"), music("'1.' G5 G5 '2.' E5 E5"), name="Trumpet 1"))
    assert lines(part) == ["C5 C5 C5 C5 G5 G5 E5 E5"]


def test_a_voice_for_a_while_is_no_second_player() -> None:
    part = read(score(music("C5 C5 C5 C5"), music("E5 E5 E5 E5", voice=2), name="Trumpet in C"))
    assert lines(part) == ["C5 C5 C5 C5 E5 E5 E5 E5"]


def test_a_note_for_two_has_one_fingering() -> None:
    data = score(music("'a 2' C5 D5 E5+C5 -"))
    marked = annotator.annotate(data).data
    assert marked.count(b"<fingering") == 4
    assert annotator.strip(marked) == data


tokens = st.sampled_from(["C5", "E5", "-", "E5+C5", "G5+D5", "'a 2'", "'1.'", "'2.'", "'div.'", "'Solo'"])


@settings(max_examples=30, deadline=None)
@given(st.lists(st.lists(tokens, max_size=8), min_size=1, max_size=4), st.booleans())
def test_every_note_has_a_player_and_no_player_two_notes_at_once(bars: list[list[str]], voices: bool) -> None:
    measures = []
    for bar in bars:
        lower = music(" ".join(token for token in bar if "+" not in token and "'" not in token), voice=2)
        length = sum("'" not in token for token in bar)
        back = f"<backup><duration>{length}</duration></backup>" if length else ""
        measures.append(music(" ".join(bar)) + (back + lower if voices else ""))
    try:
        part = read(score(*measures))
    except annotator.CrooklineError:
        return
    struck = {head.place for head in part.heads}
    assert {each.place for line in part.lines for each in line.notes} == struck
    for line in part.lines:
        for before, after in zip(line.notes, line.notes[1:], strict=False):
            assert before.onset + before.duration <= after.onset
