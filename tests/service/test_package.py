"""What is built can be installed into an empty environment, and says what it lacks there."""

from __future__ import annotations

import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo_scores"


def build(kind: str, source: Path, into: Path) -> Path:
    """A ``wheel`` or ``sdist`` of ``source``, by the build backend that pyproject.toml names."""
    into.mkdir(parents=True, exist_ok=True)
    code = f"from setuptools import build_meta; print(build_meta.build_{kind}({str(into)!r}))"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=source, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return into / done.stdout.split()[-1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel made from an sdist made from the files that git tracks."""
    folder = tmp_path_factory.mktemp("package")
    tracked = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True).stdout
    checkout = folder / "checkout"
    for name in filter(None, tracked.decode().split("\0")):
        if (ROOT / name).is_file():
            (checkout / name).parent.mkdir(parents=True, exist_ok=True)
            (checkout / name).write_bytes((ROOT / name).read_bytes())
    sdist = build("sdist", checkout, folder / "sdist")
    with tarfile.open(sdist) as archive:
        archive.extractall(folder / "unpacked", filter="data")
    (unpacked,) = (folder / "unpacked").iterdir()
    return build("wheel", unpacked, folder / "wheel")


@pytest.fixture(scope="module")
def command(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The ``crookline`` command in an environment with what it requires and nothing else."""
    home = tmp_path_factory.mktemp("empty")
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", home], check=True)
    python = home / "bin" / "python"
    pip = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check", "--python", str(python)]
    subprocess.run([*pip, "install", str(wheel)], check=True, cwd=home)
    return home / "bin" / "crookline"


def run(command: Path, *arguments: object) -> subprocess.CompletedProcess[str]:
    """What the command says, started elsewhere than in the checkout."""
    return subprocess.run(
        [command, *map(str, arguments)], capture_output=True, text=True, check=False, cwd=command.parent
    )


def test_the_wheel_has_every_table_and_page_that_the_checkout_has(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        packed = set(archive.namelist())
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    wanted = {
        name
        for name in tracked.splitlines()
        if name.startswith(("annotator/", "workers/", "api/")) and (ROOT / name).is_file()
    }
    assert wanted - packed == set()


def test_the_command_alone_marks_plans_and_charts(command: Path, tmp_path: Path) -> None:
    score = next(DEMO.glob("06_*"))
    marked = tmp_path / "marked.musicxml"
    assert run(command, "annotate", score, "-o", marked).returncode == 0
    assert b"<fingering" in marked.read_bytes()
    assert run(command, "strip", marked, "-o", tmp_path / "plain.musicxml").returncode == 0
    assert (tmp_path / "plain.musicxml").read_bytes() == score.read_bytes()
    assert run(command, "transpose", score, "-o", tmp_path / "t.musicxml").returncode == 0
    assert run(command, "plan", DEMO).returncode == 0
    assert "1-2-3" in run(command, "chart").stdout


@pytest.mark.parametrize(
    ("arguments", "extra"),
    [
        (("serve",), "service"),
        (("key", "library"), "service"),
        (("demo", "--scores", DEMO), "service"),
        (("submit", DEMO, "-o", "out"), "service"),
        (("annotate", "tune.abc", "-o", "tune.musicxml"), "import"),
    ],
)
def test_what_is_missing_is_said_with_the_name_it_is_installed_by(
    command: Path, arguments: tuple[object, ...], extra: str
) -> None:
    (command.parent / "tune.abc").write_text("X:1\nK:C\nCDEF|\n")
    done = run(command, *arguments)
    assert done.returncode in (1, 2), done.stdout
    assert f"crookline[{extra}]" in done.stderr + done.stdout
    assert "Traceback" not in done.stderr
