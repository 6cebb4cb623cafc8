"""The README's examples do what they say: they are run as they stand, against a running service."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import zipfile
from pathlib import Path

import pytest

import annotator
from tests.service.conftest import Service
from workers.settings import Settings

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_curl_examples_run(service: Service, tmp_path: Path) -> None:
    examples = re.findall(r"^```sh\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    assert len(examples) == 2
    script = "".join(examples).replace("http://127.0.0.1:8080", service.url)
    assert script.count("curl ") >= 8
    if shutil.which("curl") is None:
        pytest.fail("the examples need curl")
    (tmp_path / "demo_scores").symlink_to(ROOT / "demo_scores")
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", script], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert 'data: {"id":' in done.stdout
    first = "01_weir_keeper_overture_trumpet_1_in_E.musicxml"
    original = (ROOT / "demo_scores" / first).read_bytes()
    assert annotator.strip((tmp_path / first).read_bytes()) == original
    assert json.loads((tmp_path / "report.json").read_text())["instrument"] == "bb-trumpet"
    assert (tmp_path / "part.pdf").read_bytes().startswith(b"%PDF")
    assert zipfile.is_zipfile(tmp_path / "part.mxl")
    with zipfile.ZipFile(tmp_path / "marked.zip") as opened:
        assert first in opened.namelist()
    job = json.loads((tmp_path / "job.json").read_text())["id"]
    with service.client() as client:
        assert client.get(f"/v1/jobs/{job}").status_code == 404


def test_every_setting_the_readme_names_exists() -> None:
    named = set(re.findall(r"CROOKLINE_([A-Z_]+)", README)) - {"URL", "SECRET"}
    named |= set(re.findall(r"`_([A-Z_]+)`", README))
    assert named
    assert {name.lower() for name in named} <= set(Settings.__dataclass_fields__)
