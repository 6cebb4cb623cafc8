"""The service does what its OpenAPI document says: schemathesis asks it whatever it can think of."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import httpx
from openapi_spec_validator import validate

from tests.service.conftest import Service, ended, post
from tests.service.scores import score

# A schema cannot say what makes bytes a score, so valid forms with other bytes are refused.
CHECKS_LEFT_OUT = "positive_data_acceptance"


def test_the_document_is_openapi_3_1_and_names_every_route(client: httpx.Client) -> None:
    spec = client.get("/openapi.json").json()
    assert spec["openapi"].startswith("3.1")
    validate(spec)
    assert "ended" in spec["paths"]["/v1/jobs"]["post"]["callbacks"]
    part = "/v1/jobs/{job_id}/parts/{n}"
    assert {
        "/v1/jobs",
        "/v1/jobs/{job_id}",
        "/v1/jobs/{job_id}/events",
        "/v1/jobs/{job_id}/archive",
        *(
            f"{part}/{name}"
            for name in ("annotated", "transposed", "exercises", "report", "pages/{k}", "pdf")
        ),
        "/v1/instruments",
        "/v1/instruments/{instrument_id}/chart",
        "/v1/crooks",
        "/healthz",
        "/readyz",
        "/metrics",
    } <= set(spec["paths"])


def test_schemathesis_finds_no_fault(service: Service, client: httpx.Client, tmp_path: Path) -> None:
    job: dict[str, Any] = ended(client, post(client, ("a.xml", score("F"))).json()["id"])
    # One run on a job there is, one on whatever it makes up itself.
    known = f'[parameters]\n"path.job_id" = "{job["id"]}"\n"path.n" = 1\n"path.k" = 1\n'
    (tmp_path / "known.toml").write_text(known)
    (tmp_path / "any.toml").write_text("")
    for config, more in (
        ("known.toml", ["--exclude-operation-id", "delete_job", "--phases", "fuzzing,stateful"]),
        ("any.toml", []),
    ):
        command = [
            *(sys.executable, "-m", "schemathesis.cli", "--config-file", config, "run"),
            *(f"{service.url}/openapi.json", "--max-examples", "5", "--seed", "1", "--no-color"),
            *("--exclude-checks", CHECKS_LEFT_OUT, "--request-timeout", "20", *more),
        ]
        done = subprocess.run(
            command, cwd=tmp_path, capture_output=True, text=True, check=False, env=os.environ
        )
        assert done.returncode == 0, done.stdout + done.stderr
    log = service.log.read_text()
    faults = [
        line for line in log.splitlines() if line.startswith("{") and json.loads(line)["event"] == "fault"
    ]
    assert not faults


def test_the_docs_page_needs_no_other_host(client: httpx.Client) -> None:
    answer = client.get("/docs")
    assert answer.status_code == 200
    policy = answer.headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'")
    assert "https:" not in answer.text.replace("https:// address", "")
    assert "http:" not in answer.text.replace("http:// or", "")
    for operation in ("create_job", "get_job", "annotated"):
        assert f'id="{operation}"' in answer.text
    for code in ("bad-option", "no-such-job"):
        assert f'id="{code}"' in answer.text
