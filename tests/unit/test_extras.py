"""What is installed on request is said with the name it is installed by."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

from annotator.extras import EXTRA_OF, MissingExtra, extras

PROJECT = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]
OWN = "crookline"


def names(requirements: list[str]) -> set[str]:
    """The distributions that a list of requirements names."""
    return {normal(re.split(r"[^\w.-]", each)[0]) for each in requirements} - {OWN}


def normal(name: str) -> str:
    """A distribution's name as the Python Packaging User Guide normalises it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def test_every_library_of_an_extra_is_known_by_the_module_it_brings() -> None:
    modules = packages_distributions()
    extra_of = {module: EXTRA_OF.get(module, "") for module in modules}
    for extra in ("print", "import", "service", "s3", "learn"):
        for name in names(PROJECT["optional-dependencies"][extra]):
            brought = [module for module, found in modules.items() if name in map(normal, found)]
            assert any(extra_of[module] == extra for module in brought), f"{name} is in no row of EXTRA_OF"


def test_what_comes_with_the_command_is_little() -> None:
    assert names(PROJECT["dependencies"]) == {"click", "lxml", "rich"}


def test_all_is_all() -> None:
    every = set(PROJECT["optional-dependencies"]) - {"all", "dev"}
    (listed,) = PROJECT["optional-dependencies"]["all"]
    assert set(re.findall(r"[\w]+", listed.partition("[")[2])) == every


def test_a_missing_library_is_said_with_its_extra() -> None:
    with pytest.raises(MissingExtra, match=r"drawing needs verovio.*crookline\[print\]"), extras("drawing"):
        raise ModuleNotFoundError(name="verovio.toolkit")
    with pytest.raises(ModuleNotFoundError), extras("drawing"):
        raise ModuleNotFoundError(name="annotator.nothing")
