"""A client generated from the OpenAPI document by another's tool (the PyPI package openapi-python-client)
works: a job is sent, its report is typed, and its files come as files."""

from __future__ import annotations

import importlib
import io
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import httpx
import pytest

from annotator.registry import media_types
from tests.service.conftest import Service, wait_until
from tests.unit.tunes import demo

# The tool knows no media types besides the commonest; it is told which of them are bytes.
OVERRIDES = {
    **dict.fromkeys(
        (*(media_types.MUSICXML, media_types.MXL, media_types.ZIP, media_types.PDF, media_types.SVG),),
        "application/octet-stream",
    ),
    media_types.EVENTS: "text/plain",
    "application/problem+json": "application/json",
}


def test_a_generated_client_can_be_used(
    service: Service, client: httpx.Client, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "openapi.json").write_text(client.get("/openapi.json").text)
    # JSON is YAML.
    (tmp_path / "config.yaml").write_text(json.dumps({"content_type_overrides": OVERRIDES, "post_hooks": []}))
    command = [
        *(sys.executable, "-c", "from openapi_python_client.cli import app; app()", "generate"),
        *("--path", "openapi.json", "--config", "config.yaml", "--output-path", "made"),
        *("--meta", "none", "--fail-on-warning"),
    ]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stdout + done.stderr
    monkeypatch.syspath_prepend(str(tmp_path))

    def of(module: str) -> Any:
        return importlib.import_module(f"made.{module}")

    caller = of("client").Client(base_url=service.url, raise_on_unexpected_status=True)
    file = of("types").File(
        payload=io.BytesIO(demo("06").read_bytes()),
        file_name="study.musicxml",
        mime_type=media_types.MUSICXML,
    )
    body = of("models").Upload(files=[file], options='{"instrument": "bb-trumpet"}')
    job = of("api.jobs.create_job").sync(client=caller, body=body)
    wait_until(lambda: of("api.jobs.get_job").sync(job.id, client=caller).state == "done")
    report = of("api.results.report").sync(job.id, 1, client=caller)
    assert report.instrument == "bb-trumpet"
    assert report.parts[0].lines[0].notes[0].written == "C4"
    marked = of("api.results.annotated").sync(job.id, 1, client=caller)
    assert marked.payload.read().startswith(b"<?xml")
    assert of("api.results.archive").sync(job.id, client=caller).payload.read(2) == b"PK"
