"""Every row is on every surface it belongs to: marks, options, products, finding codes.

What a running service makes of the products is tested in ``tests/service/test_products.py``.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any

import click
import pytest
from apiflask import APIFlask
from lxml import etree

import annotator
from annotator.cli import crookline
from annotator.engraving.copy_source import copy_part, parse
from annotator.engraving.legend import entries
from annotator.engraving.sheet import KINDS
from annotator.findings import Finding
from annotator.marking.marks import TEXTS
from annotator.products import MAKERS
from annotator.registry.finding_rows import FINDING, FINDING_ROWS, FindingRow
from annotator.registry.mark_rows import MARKS, Element, Mark
from annotator.registry.option_rows import OF_A_FILE, OPTION, OPTIONS, Field, Group, Kind, Option
from annotator.registry.product_rows import OF_PART, PRODUCTS, Product
from annotator.score.ours import (
    TARGET,
    kind_begun,
    kind_of_colour,
    kind_of_size,
    signed_colour,
    signed_size,
)
from api.app import create_app
from tests.unit.tunes import demo
from workers.products import JOB_MAKERS
from workers.settings import Settings

ROOT = Path(__file__).parents[2]
NAMED = {Element.FINGERING: "notations", Element.LYRIC: "lyric", Element.WORDS: "direction"}
GROUPS: dict[str, set[Group]] = {
    "annotate": set(OF_A_FILE),
    "watch": set(OF_A_FILE),
    "submit": set(Group),
    "transpose": {Group.READING, Group.MARKS, Group.HANDS},
    "exercises": {Group.READING, Group.HANDS},
    "print": {Group.READING, Group.MARKS, Group.HANDS},
}


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> APIFlask:
    return create_app(Settings(store=str(tmp_path_factory.mktemp("store"))))


@pytest.fixture(scope="module")
def home(app: APIFlask) -> Any:
    """The page's form."""
    answer = app.test_client().get("/")
    assert answer.status_code == 200
    return etree.fromstring(answer.data, etree.HTMLParser())


@pytest.fixture(scope="module")
def schema(app: APIFlask) -> dict[str, Any]:
    """The OpenAPI document."""
    found: dict[str, Any] = app.test_client().get("/openapi.json").get_json()
    return found


def flags(command: str) -> dict[str, click.Option]:
    """The options of a command by their names in Python."""
    found = crookline.get_command(click.Context(crookline), command)
    assert found is not None
    return {option.name or "": option for option in found.params if isinstance(option, click.Option)}


@pytest.mark.parametrize("row", MARKS, ids=[row.name for row in MARKS])
def test_a_mark_is_in_the_file_on_the_sheet_in_the_report_and_on_the_page(row: Mark, home: Any) -> None:
    data = demo("06").read_bytes()
    marked = annotator.annotate(data, annotator.Options(mark=(row.name,)))
    root = parse(marked.data)
    ours = [node for node in root.iter(etree.PI) if node.target == TARGET and kind_begun(node.text or "")]
    # Besides the marks there may be a record of the fingerings, for programs that drop the signs.
    assert {kind_begun(node.text) for node in ours} - {"record"} == {row.name}
    assert annotator.strip(marked.data) == data
    tags = {node.getnext().tag for node in ours if kind_begun(node.text) == row.name}
    if row.element is Element.PART:
        assert tags <= {"score-part", "part"}
    else:
        # The note may have its <notations> already; then ours stands inside.
        assert tags <= {NAMED[row.element], "technical"}
        assert row.element is Element.FINGERING or row.name in TEXTS
    if row.element is Element.LYRIC:
        assert kind_of_size(signed_size(7, row.name)) == row.name
        assert kind_of_colour(signed_colour("#000000", row.name)[1:]) == row.name
    copy = copy_part(root, marked.report["parts"][0]["id"])
    explained = [(entry.sign, entry.meaning) for entry in entries(copy.figures, copy.rows, copy.marks)]
    assert set(row.legend) <= set(explained)
    part = marked.report["parts"][0]
    entry = part["segments"][0] if row.element is Element.PART else part["lines"][0]["notes"][0]
    assert row.report in entry
    (box,) = home.xpath(f'//input[@name="mark"][@value="{row.name}"]')
    assert ("checked" in box.attrib) is row.default
    assert row.label in "".join(box.getparent().itertext())


def test_a_mark_is_on_by_default_everywhere_or_nowhere() -> None:
    default = tuple(mark.name for mark in MARKS if mark.default)
    assert annotator.Options().mark == default
    for command in ("annotate", "submit", "watch"):
        assert flags(command)["mark"].default == ",".join(default)
    assert annotator.annotate(demo("06").read_bytes()).report["options"]["mark"] == list(default)


@pytest.mark.parametrize("row", OPTIONS, ids=[row.name for row in OPTIONS])
def test_an_option_is_in_the_library_the_commands_the_schema_and_on_the_page(
    row: Option, home: Any, schema: dict[str, Any]
) -> None:
    (field,) = [each for each in fields(annotator.Options) if each.name == row.name]
    assert field.default == row.default
    for command, groups in GROUPS.items():
        flag = flags(command).get(row.name)
        assert (flag is not None) is (row.group in groups), command
        if flag is not None and (command, row.name) != ("transpose", "mark"):
            assert row.about.rstrip(".") in (flag.help or "")
            given = row.default if row.kind is not Kind.LIST or not row.default else ",".join(row.default)
            assert flag.default in (given, None) or not given
    described = schema["components"]["schemas"]["Options"]["properties"][row.name]
    assert described["description"] == row.about
    assert described["default"] == (list(row.default) if row.kind is Kind.LIST else row.default)
    upload = schema["paths"]["/v1/jobs"]["post"]["requestBody"]["content"]["multipart/form-data"]["schema"]
    asked = schema["components"]["schemas"][upload["$ref"].rpartition("/")[2]]["properties"]["options"]
    assert row.name in asked["description"]
    assert asked["contentSchema"] == {"$ref": "#/components/schemas/Options"}
    assert home.xpath(f'//form[@id="send"]//*[@name="{row.name}"]')
    assert row.label in "".join(home.xpath('//form[@id="send"]')[0].itertext())
    assert row.asked is not Field.SELECT or row.table or row.values


def test_the_library_has_no_option_without_a_row() -> None:
    assert {each.name for each in fields(annotator.Options)} == set(OPTION)


def test_every_closed_option_refuses_what_is_not_among_its_values() -> None:
    for row in OPTIONS:
        if row.values:
            wrong = ["brass"] if row.kind is Kind.LIST else "brass"
            with pytest.raises(annotator.BadOption, match="choose from") as caught:
                annotator.Options.from_mapping({row.name: wrong})
            assert caught.value.field == row.name
        with pytest.raises(annotator.BadOption):
            annotator.Options.from_mapping({row.name: 7})


@pytest.mark.parametrize("row", PRODUCTS, ids=[row.name for row in PRODUCTS])
def test_a_product_has_its_maker_command_sheet_and_route(row: Product, schema: dict[str, Any]) -> None:
    makers = set(MAKERS) if row in OF_PART else set(JOB_MAKERS)
    assert (row.name in makers) is row.on_request
    assert (row.name in KINDS) is bool(row.headed)
    assert not row.command or crookline.get_command(click.Context(crookline), row.command) is not None
    where = "/v1/jobs/{job_id}/parts/{n}/" if row in OF_PART else "/v1/jobs/{job_id}/"
    answer = schema["paths"][f"{where}{row.name}"]["get"]["responses"]["200"]
    assert answer["description"].rstrip(".") == row.about
    assert set(answer["content"]) == set(row.media)
    links = schema["paths"]["/v1/jobs"]["post"]["responses"]["202"]["links"]
    assert row.name in links


@pytest.mark.parametrize("row", FINDING_ROWS, ids=[row.code for row in FINDING_ROWS])
def test_a_finding_code_is_used_and_tells_what_to_do(row: FindingRow) -> None:
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", row.code)
    assert row.means
    assert row.do.endswith(".")
    assert row.code in {text for path in sources() for text in strings(path)}


def test_no_finding_has_a_code_without_a_row() -> None:
    with pytest.raises(ValueError, match="no-such-code"):
        Finding("no-such-code", "said in a test")
    for path in sources():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, (ast.Name, ast.Attribute)):
                called = node.func.id if isinstance(node.func, ast.Name) else node.func.attr
                if called == "Finding" and node.args and isinstance(node.args[0], ast.Constant):
                    assert node.args[0].value in FINDING, f"{path}:{node.lineno}"


def sources() -> list[Path]:
    """The modules that may find something."""
    rows = ROOT / "annotator" / "registry"
    return [path for path in (ROOT / "annotator").rglob("*.py") if not path.is_relative_to(rows)]


def strings(path: Path) -> Iterator[str]:
    """The strings in a module."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value
