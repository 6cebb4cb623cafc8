"""Every product's row in a running service: link, route, media type, name of the file, archive, button."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path
from typing import Any

import httpx
import pytest
from click.testing import CliRunner

from annotator.cli import crookline
from annotator.registry.product_rows import OF_PART, PRODUCTS, Product
from tests.service.conftest import Service, ended, post
from tests.unit.tunes import demo

PLANNED = '{"plan": ["c-trumpet"]}'


@pytest.fixture(scope="module")
def job(service: Service) -> dict[str, Any]:
    """A job of one part that has all that can be made of one."""
    with service.client() as client:
        sent = post(client, ("study.musicxml", demo("06").read_bytes()))
        found: dict[str, Any] = ended(client, sent.json()["id"])
    return found


@pytest.mark.parametrize("row", OF_PART, ids=[row.name for row in OF_PART])
def test_a_product_is_linked_answered_named_and_on_the_page(
    client: httpx.Client, job: dict[str, Any], row: Product
) -> None:
    links = job["parts"][0]["links"]
    assert set(links) == {each.name for each in OF_PART}
    answer = client.get(links[row.name])
    assert answer.status_code == 200, answer.text
    assert answer.headers["Content-Type"].partition(";")[0] in row.media
    if row.suffix:
        assert f"study{row.suffix}." in answer.headers["Content-Disposition"]
    page = client.get(f"/jobs/{job['id']}/parts/1").text
    assert not row.label or (row.label in page and links[row.name] in page)


def test_the_archive_has_what_the_rows_put_there(client: httpx.Client, job: dict[str, Any]) -> None:
    with zipfile.ZipFile(io.BytesIO(client.get(job["links"]["archive"]).content)) as archive:
        there = set(archive.namelist()) - {"summary.json", "summary.html"}
    assert there == {f"study.musicxml{row.archive}" for row in PRODUCTS if row.archive is not None}


def test_a_job_is_planned_as_the_command_plans_a_folder(client: httpx.Client, tmp_path: Path) -> None:
    case = ["c-trumpet", "a-piccolo"]
    names = [demo(number).name for number in ("04", "05")]
    for number in ("04", "05"):
        (tmp_path / demo(number).name).write_bytes(demo(number).read_bytes())
    (tmp_path / "06_broken.musicxml").write_text("no score")
    command = ["plan", str(tmp_path), "--json", "--case", ",".join(case)]
    local = json.loads(CliRunner().invoke(crookline, command).stdout)

    files = [(path.name, path.read_bytes()) for path in sorted(tmp_path.iterdir())]
    job: dict[str, Any] = ended(client, post(client, *files, options=json.dumps({"plan": case})).json()["id"])
    assert job["options"]["plan"] == case
    assert job["links"]["plan"] == f"/v1/jobs/{job['id']}/plan"
    answer = client.get(job["links"]["plan"])
    assert answer.status_code == 200, answer.text
    planned = answer.json()
    assert [piece["name"] for piece in planned["pieces"]] == names
    assert [each["name"] for each in planned["left_out"]] == ["06_broken.musicxml"]
    assert {**planned, "left_out": []} == {**local, "left_out": []}
    out = tmp_path / "out"
    sent = ["submit", *(str(tmp_path / name) for name in names), "-o", str(out), "--plan", ",".join(case)]
    done = CliRunner().invoke(crookline, [*sent, "--url", str(client.base_url)])
    assert done.exit_code == 0, done.output
    assert json.loads((out / "plan.json").read_text()) == {**local, "left_out": []}
    # In the order they were sent.
    turned: dict[str, Any] = ended(
        client, post(client, *files[1::-1], options=json.dumps({"plan": case})).json()["id"]
    )
    again = client.get(turned["links"]["plan"]).json()
    assert [piece["name"] for piece in again["pieces"]] == names[::-1]


def test_what_was_not_asked_for_or_cannot_be_planned_is_refused_with_the_reason(
    client: httpx.Client, job: dict[str, Any]
) -> None:
    assert "plan" not in job["links"]
    answer = client.get(f"/v1/jobs/{job['id']}/plan")
    assert (answer.status_code, answer.json()["code"]) == (404, "no-plan")
    broken = ended(client, post(client, ("a.musicxml", b"no score"), options=PLANNED).json()["id"])
    answer = client.get(f"/v1/jobs/{broken['id']}/plan")
    assert (answer.status_code, answer.json()["code"]) == (422, "result-failed")
    assert "a.musicxml" in answer.json()["detail"]
    wrong = post(client, ("a.musicxml", demo("06").read_bytes()), options='{"plan": ["ophicleide"]}')
    assert wrong.status_code == 422
    assert wrong.json()["errors"][0]["pointer"] == "/options/plan"
    players = {"players": json.dumps([{"name": "Ada"}])}
    shared = post(client, ("a.musicxml", demo("06").read_bytes()), options=PLANNED, **players)
    assert shared.status_code == 422
    assert "one player" in shared.json()["detail"]
