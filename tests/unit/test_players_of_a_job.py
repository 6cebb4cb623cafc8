"""Several players, one upload: who gets which file, and what is said where nobody does."""

from __future__ import annotations

import json

import pytest

from annotator.errors import BadOption
from annotator.reading.player_names import players_named
from annotator.score.listed import ListedPart, listed_parts
from tests.unit.parts import NoteText, part_xml
from workers.intake import BadUpload, take_in
from workers.players import for_players, players_of, theirs
from workers.settings import Settings

FIRST = part_xml([NoteText("C", 0, 5)], name="Tromba I in E")
SECOND = part_xml([NoteText("C", 0, 5)], name="Trumpet 2 in E")
BOTH = part_xml([NoteText("C", 0, 5)], name="Trumpets 1, 2 in E")
FLUTE = part_xml([NoteText("C", 0, 5)], name="Flute 1")


def given(players: object, **files: bytes) -> list[tuple[str, str, dict[str, object]]]:
    settings = Settings()
    intake = take_in([(f"{name}.musicxml", data) for name, data in files.items()], settings)
    for_players(intake, players_of(json.dumps(players), {}))
    assert [part.n for part, _ in intake.parts] == list(range(1, len(intake.parts) + 1))
    return [(part.name, part.player, dict(part.options)) for part, _ in intake.parts]


def test_each_player_has_a_folder_with_the_files_that_are_theirs() -> None:
    players = [
        {"name": "Ada", "part": ["1st"], "instrument": "bb-trumpet"},
        {"name": "Ben", "part": ["2nd"], "mark": ["partial"]},
        {"name": "Conductor", "mark": []},
    ]
    assert given(players, one=FIRST, two=SECOND, both=BOTH) == [
        ("Ada/one.musicxml", "Ada", {"instrument": "bb-trumpet", "part": ["P1"]}),
        ("Ada/both.musicxml", "Ada", {"instrument": "bb-trumpet", "part": ["P1"]}),
        ("Ben/two.musicxml", "Ben", {"mark": ["partial"], "part": ["P1"]}),
        ("Ben/both.musicxml", "Ben", {"mark": ["partial"], "part": ["P1"]}),
        ("Conductor/one.musicxml", "Conductor", {"mark": []}),
        ("Conductor/two.musicxml", "Conductor", {"mark": []}),
        ("Conductor/both.musicxml", "Conductor", {"mark": []}),
    ]


def test_a_number_is_a_trumpets_number() -> None:
    with pytest.raises(BadUpload, match="no file has a part for Ada"):
        given([{"name": "Ada", "part": "1"}], flute=FLUTE)
    assert theirs(listed_parts(FLUTE), ["P1"]) == ["P1"]
    assert theirs(listed_parts(FLUTE), ["flute 1"]) == ["P1"]


@pytest.mark.parametrize("word", ["1", "1st", "1.", "1ª", "1re", "I", "i"])
def test_numbers_as_people_write_them(word: str) -> None:
    assert theirs(
        [ListedPart("X", "Tromba I in E", "", ""), ListedPart("Y", "Tromba 2", "", "")], [word]
    ) == ["X"]


def test_a_file_nobody_plays_is_left_out_and_said() -> None:
    intake = take_in([("one.xml", FIRST), ("two.xml", SECOND)], Settings())
    for_players(intake, players_of('[{"name": "Ada", "part": "1st"}]', {}))
    assert [part.name for part, _ in intake.parts] == ["Ada/one.xml"]
    assert intake.skipped == [("two.xml", "no player has a part in it")]


def test_a_file_that_cannot_be_read_fails_for_each_with_its_own_reason() -> None:
    found = given([{"name": "Ada", "part": "1"}, {"name": "Ben"}], one=FIRST, bad=b"\xff\xfe\x00")
    assert [name for name, _, _ in found] == [
        "Ada/one.musicxml",
        "Ada/bad.musicxml",
        "Ben/one.musicxml",
        "Ben/bad.musicxml",
    ]


@pytest.mark.parametrize(
    ("players", "said"),
    [
        ("{", "not JSON"),
        ("{}", "must be a JSON list"),
        ("[1]", "player 1 must be an object with a name"),
        ('[{"name": " "}]', "player 1 must be an object with a name"),
        ('[{"name": "Ada"}, {"name": "ada"}]', "two players are called ada"),
        ('[{"name": "Ada", "hand": "left"}]', "player Ada: there is no 'hand'"),
        ('[{"name": "Ada", "instrument": "kazoo"}]', "player Ada: there is no instrument 'kazoo'"),
        ('[{"name": "Ada", "mark": ["hat"]}]', "player Ada: 'hat' is nothing to mark"),
        (json.dumps([{"name": str(number)} for number in range(51)]), "at most 50"),
    ],
)
def test_what_is_wrong_with_the_players_is_said(players: str, said: str) -> None:
    with pytest.raises(BadOption, match=said) as caught:
        players_of(players, {})
    assert caught.value.field == "players"


@pytest.mark.parametrize(
    ("name", "numbers"),
    [
        ("Trumpet 1 in E", (1,)),
        ("Tromba II", (2,)),
        ("Trumpets 1, 2", (1, 2)),
        ("Trombe I e II", (1, 2)),
        ("1ª Tromba", (1,)),
        ("Trumpet", ()),
    ],
)
def test_the_numbers_a_part_names(name: str, numbers: tuple[int, ...]) -> None:
    assert players_named(name) == numbers
