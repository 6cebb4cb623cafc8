"""A profile of the user's own as a job has it: the text of a TOML file."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator  # type: ignore[import-untyped]

import annotator
from annotator.errors import BadOption
from annotator.fingering.profile import available_profiles, load_profile, name_said, profile_from_toml
from annotator.learning import telling
from annotator.learning.weights import Learnt
from annotator.registry.option_rows import schema
from tests.unit.tunes import demo
from workers.players import players_of
from workers.result_cache import address, options_of

MINE = 'name = "mine"\n[exchange]\nfirst-third = 3.0\n'


def refused(profile: str) -> BadOption:
    with pytest.raises(BadOption) as caught:
        options_of({"profile": profile})
    assert caught.value.field == "profile"
    return caught.value


def test_the_text_is_the_profile_in_the_work_and_a_name_in_the_report() -> None:
    options = options_of({"profile": MINE})
    assert options.profile == profile_from_toml(MINE)
    report = annotator.annotate(demo("06").read_bytes(), options).report
    assert json.loads(json.dumps(report))["options"]["profile"] == "mine"


@pytest.mark.parametrize("value", ["0", "0.0001", "1000"])
def test_no_weight_that_is_taken_ends_in_a_fault(value: str) -> None:
    text = "\n".join(f"{row.key} = {value}" for row in load_profile("orchestral").costs)
    assert annotator.annotate(demo("06").read_bytes(), options_of({"profile": text})).report["parts"]


def test_what_learning_writes_is_taken_whatever_it_is_called() -> None:
    base = load_profile("orchestral")
    hand = replace(base, name='my "hand"')
    learnt = Learnt(hand, (("exchange.first-third", base["exchange.first-third"], 3.0),), (), 10.0)
    text = telling.to_toml(learnt, base, 300)
    assert options_of({"profile": text}).document()["profile"] == 'my "hand"'


def test_a_result_is_kept_for_each_profile_apart() -> None:
    other = MINE.replace("3.0", "2.9")
    said = ["orchestral", MINE, other]
    assert len({address("0" * 64, options_of({"profile": each})) for each in said}) == len(said)
    assert len({address("0" * 64, options_of({"profile": MINE})) for _ in range(2)}) == 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[exchange]\nfirst-thrid = 3", "exchange.first-thrid"),
        ("[exchange]\nfirst-third = -1", "exchange.first-third"),
        ('base = "/etc/passwd"', "there is no profile"),
        ("name = 3", "name"),
        ('name = "a\\nb"', "name"),
        ("urgency = [[1, 0], [0.1, inf]]", "urgency"),
        ("not a profile\n", "is not TOML"),
        ("a = " + "[" * 40_000, ""),
        ("# " + "=" * 60_000, "50000 at most"),
    ],
)
def test_a_wrong_one_is_refused_with_its_wrong_key(text: str, said: str) -> None:
    assert said in refused(text).message


def test_every_profile_there_is_can_be_taken() -> None:
    for name in available_profiles():
        assert load_profile(name).name == options_of({"profile": name}).profile == name


def test_a_name_is_never_taken_for_a_path(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(MINE)
    assert "there is no profile" in refused(str(file)).message


def test_a_player_has_a_profile_too() -> None:
    (player,) = players_of(json.dumps([{"name": "Ada", "profile": MINE}]), {})
    assert player.options == {"profile": MINE}
    with pytest.raises(BadOption, match=r"player Ada: .*exchange\.first-thrid"):
        players_of(json.dumps([{"name": "Ada", "profile": "exchange.first-thrid = 1"}]), {})


def test_the_schema_takes_names_and_texts() -> None:
    described = Draft202012Validator(schema({"profiles": ["orchestral", "student"]}))
    assert described.is_valid({"profile": "student"})
    assert described.is_valid({"profile": MINE})
    assert not described.is_valid({"profile": "kazoo"})


def test_people_are_shown_its_name() -> None:
    assert name_said("student") == "student"
    assert name_said(MINE) == "mine"
    assert name_said("no.such-key = 1") == "own"
