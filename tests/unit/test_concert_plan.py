"""Which trumpet for which piece."""

from __future__ import annotations

import json
from copy import deepcopy
from itertools import product
from pathlib import Path

import jsonschema  # type: ignore[import-untyped]
import pytest
from click.testing import CliRunner
from lxml import etree

from annotator.annotation import annotate
from annotator.cli import crookline
from annotator.concert.choice import cheapest
from annotator.concert.document import clock, document, text
from annotator.concert.fitness import weight
from annotator.concert.plan import Piece, plan, plan_lines, read_piece, read_pieces
from annotator.concert.plan_schema import plan_schema
from annotator.errors import BadOption, NoTrumpetPart
from annotator.instruments import available, load
from annotator.options import Options
from tests.unit.tunes import DEMO, demo, rest, tune
from workers.result_cache import address, options_of

CASE = tuple(load(name) for name in ("c-trumpet", "bb-trumpet", "eb-trumpet", "a-piccolo"))


@pytest.fixture(scope="module")
def pieces() -> list[Piece]:
    return [read_piece(path.name, path.read_bytes(), CASE) for path in DEMO]


def test_the_aria_goes_to_the_piccolo_and_the_rest_stays_on_the_usual_trumpet(pieces: list[Piece]) -> None:
    made = plan(pieces, CASE)
    chosen = {each.piece.name[:2]: [one.instrument.id for one in each.chosen] for each in made.pieces}
    assert chosen["04"] == ["a-piccolo"]
    assert set(chosen["01"]) == {"c-trumpet"}
    assert made.share > 0.8
    aria = next(each for each in made.pieces if each.piece.name.startswith("04"))
    assert aria.change
    assert "instead of the Trumpet in C" in aria.sentence
    assert all(each.sentence for each in made.pieces)


def test_the_plan_costs_what_trying_everything_finds(pieces: list[Piece]) -> None:
    few = pieces[:5]
    made = plan(few, CASE)
    stretches = [stretch for piece in few for stretch in piece.stretches]
    starts = [number == 0 for piece in few for number in range(len(piece.stretches))]
    best = None
    for row in product(range(len(CASE)), repeat=len(stretches)):
        cost = 0
        for place, (stretch, k) in enumerate(zip(stretches, row, strict=True)):
            cost += stretch.fits[k].cost + (weight("taking") if k else 0)
            if place and row[place - 1] != k:
                cost += weight("change.between" if starts[place] else "change.within")
        best = cost if best is None else min(best, cost)
    assert best is not None
    assert made.cost == best / 1000


def test_a_change_within_a_piece_only_where_the_rests_allow_it(pieces: list[Piece]) -> None:
    finale = next(piece for piece in pieces if piece.name.startswith("02"))
    # "muta in C" with half a minute of rest: two stretches, the second from measure 66 on.
    assert [(each.from_measure, each.to_measure) for each in finale.stretches] == [("1", "65"), ("66", "101")]
    assert all(len(piece.stretches) == 1 for piece in pieces if not piece.name.startswith("02"))


def test_one_instrument_makes_no_choice_and_no_change(pieces: list[Piece]) -> None:
    only = CASE[:1]
    made = plan([read_piece(demo("01").name, demo("01").read_bytes(), only)], only)
    assert made.share == 1.0
    assert not any(each.change for each in made.pieces)


def test_a_flugelhorn_is_not_taken_for_a_trumpet_part() -> None:
    case = tuple(load(name) for name in available())
    made = plan([read_piece(path.name, path.read_bytes(), case) for path in (demo("01"), demo("03"))], case)
    families = {one.instrument.family for each in made.pieces for one in each.chosen}
    assert families <= {"trumpet", "piccolo trumpet"}


def test_an_empty_case_and_an_empty_part_are_refused() -> None:
    with pytest.raises(BadOption):
        plan([], ())
    with pytest.raises(BadOption):
        read_piece("x", demo("01").read_bytes(), ())
    with pytest.raises(NoTrumpetPart):
        read_piece("x", tune(rest(4)), CASE)


def test_the_document_is_json_and_the_text_fits_a_terminal(pieces: list[Piece]) -> None:
    made = plan(pieces, CASE)
    values = document(made)
    assert values["schema"] == "crookline.plan/1"
    assert json.loads(json.dumps(values)) == values
    assert values["load"]["playing"] == pytest.approx(
        sum(piece["load"]["playing"] for piece in values["pieces"]), abs=0.6
    )
    shown = text(made)
    assert max(map(len, shown.splitlines())) < 80
    assert "health professional" in shown
    assert clock(125) == "2:05"
    assert clock(3725) == "1:02:05"


def test_the_command_plans_a_folder_and_names_what_fails(tmp_path: Path) -> None:
    for number in ("04", "05"):
        (tmp_path / demo(number).name).write_bytes(demo(number).read_bytes())
    (tmp_path / "06_broken.musicxml").write_text("no score")
    result = CliRunner().invoke(crookline, ["plan", str(tmp_path), "--json", "--case", "c-trumpet,a-piccolo"])
    assert result.exit_code == 1
    assert "06_broken.musicxml" in result.stderr
    values = json.loads(result.stdout)
    assert [piece["name"][:2] for piece in values["pieces"]] == ["04", "05"]
    assert values["case"] == ["c-trumpet", "a-piccolo"]
    wrong = CliRunner().invoke(crookline, ["plan", str(tmp_path), "--case", "ophicleide"])
    assert wrong.exit_code == 2


def test_the_cheapest_row_stays_in_hand_rather_than_change_back_for_nothing() -> None:
    assert cheapest([[0, 9], [1, 0], [0, 9]], [0, 5, 5])[0] == (0, 0, 0)


def test_the_document_is_as_its_schema_says_judged_by_anothers_validator(pieces: list[Piece]) -> None:
    """The PyPI package jsonschema."""
    jsonschema.Draft202012Validator.check_schema(plan_schema())
    values = document(plan(pieces, CASE), [("x.musicxml", "no score")])
    jsonschema.validate(values, plan_schema(), jsonschema.Draft202012Validator)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**values, "pieces": [{}]}, plan_schema(), jsonschema.Draft202012Validator)


def test_the_plan_is_asked_of_a_job_and_marks_nothing() -> None:
    options = Options(plan=("c-trumpet", "a-piccolo"))
    assert "plan" not in options.document()
    assert address("x", options) == address("x", Options())
    with pytest.raises(BadOption, match="ophicleide") as caught:
        options_of({"plan": ["ophicleide"]})
    assert caught.value.field == "plan"


def test_every_line_of_every_part_is_planned_and_no_players_load_is_anothers() -> None:
    shared, alone = demo("05"), demo("04")
    files = [read_pieces(path.name, path.read_bytes(), CASE) for path in (shared, alone)]
    assert [[(piece.line, piece.lines) for piece in lines] for lines in files] == [[(1, 2), (2, 2)], [(1, 1)]]
    first, second = plan_lines(files, CASE)
    assert [each.piece.name for each in first.pieces] == [shared.name, alone.name]
    assert [each.piece.name for each in second.pieces] == [shared.name]
    assert first == plan([lines[0] for lines in files], CASE)
    values = document(first, (), [second])
    jsonschema.validate(values, plan_schema(), jsonschema.Draft202012Validator)
    assert values["other_lines"][0]["pieces"][0]["line"] == 2
    # Each plans his own notes, as the report counts them.
    report = annotate(shared.read_bytes(), Options(), shared.name).report
    assert [len(line["notes"]) for line in report["parts"][0]["lines"]] == [
        sum(stretch.fits[0].notes for stretch in piece.stretches) for piece in files[0]
    ]
    assert text(first, [second]).count("Player ") == 2


def test_two_parts_of_a_score_are_two_players() -> None:
    one = demo("05").read_bytes()
    root = etree.fromstring(one)
    for element in (root.find("part-list/score-part"), root.find("part")):
        assert element is not None
        copy = deepcopy(element)
        copy.set("id", "P99")
        element.addnext(copy)
    found = read_pieces("x", etree.tostring(root), CASE[:1])
    assert [piece.line for piece in found] == [1, 2, 1, 2]
    assert len(plan_lines([found], CASE[:1])) == 4
