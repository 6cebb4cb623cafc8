"""Where the service's pieces meet: what may not leak from one into another."""

from __future__ import annotations

import ast
import os
import pickle
from pathlib import Path

import pytest
from apiflask import APIFlask

from annotator import errors
from annotator.errors import BadOption, CrooklineError
from api.app import create_app
from workers import context
from workers.settings import Settings

API = Path(__file__).parents[2] / "api"


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> APIFlask:
    return create_app(Settings(store=str(tmp_path_factory.mktemp("store"))))


def test_making_an_application_changes_nothing_outside_of_it(tmp_path: Path) -> None:
    before, adopted = dict(os.environ), context._current.context
    create_app(Settings(store=str(tmp_path), callback_secret="for the application alone"))
    assert dict(os.environ) == before
    assert context._current.context is adopted


def test_invented_methods_share_one_label(app: APIFlask) -> None:
    client = app.test_client()
    for number in range(50):
        client.open("/healthz", method=f"BREW{number}")
    registry = app.extensions["crookline-metrics"]
    methods = {
        sample.labels["method"]
        for metric in registry.collect()
        for sample in metric.samples
        if "method" in sample.labels
    }
    assert methods == {"other"}


@pytest.mark.parametrize(
    "kind",
    [kind for kind in vars(errors).values() if isinstance(kind, type) and issubclass(kind, CrooklineError)],
)
def test_an_error_is_the_same_on_the_other_side_of_a_process(kind: type[CrooklineError]) -> None:
    error = kind("said", part="P1", measure="12")
    if isinstance(error, BadOption):
        error.field = "crook"
    back = pickle.loads(pickle.dumps(error))
    assert type(back) is kind
    assert (back.message, back.part, back.measure, str(back)) == ("said", "P1", "12", str(error))
    assert getattr(back, "field", "") == getattr(error, "field", "")


def test_routes_import_no_routes() -> None:
    routes = {
        ".".join(path.relative_to(API.parent).with_suffix("").parts)
        for path in API.rglob("*.py")
        if "@blueprint." in path.read_text() and path.name != "visitor.py"
    }
    assert {"api.jobs", "api.results", "api.page.home"} <= routes
    wrong = []
    for path in API.rglob("*.py"):
        module = ".".join(path.relative_to(API.parent).with_suffix("").parts)
        if module in ("api.app", "api.page.__init__"):
            continue  # where they are put together
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom) and node.module:
                named = {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
                wrong += [f"{module} -> {name}" for name in named & routes]
    assert not wrong
