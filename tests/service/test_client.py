"""The client, and the commands built on it: ``submit`` and ``demo``."""

from __future__ import annotations

import json
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import pytest

import annotator
from annotator.client import Client, Event, ServiceError
from tests.service.conftest import Service, this_checkout
from tests.service.scores import BAD_SCORE, archive, score

ROOT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-c", "from annotator.cli import main; main()"]


def crookline(*arguments: str | Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the command."""
    return subprocess.run(
        [*COMMAND, *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        env={**this_checkout(), **environment},
        cwd=ROOT,
        timeout=120,
    )


def test_a_job_from_python(service: Service) -> None:
    heard: list[Event] = []
    with Client(service.url) as client:
        sent = [("a.xml", score("F")), ("bad.xml", BAD_SCORE)]
        job = client.wait(client.submit(sent, {"instrument": "bb-trumpet"}).id, heard.append)
        assert job.state == "partly"
        assert job.counts == {"queued": 0, "running": 0, "done": 1, "failed": 1}
        good, bad = job.parts
        expected = annotator.annotate(score("F"), annotator.Options(instrument="bb-trumpet"))
        assert client.annotated(job.id, good.n) == expected.data
        assert client.report(job.id, good.n)["instrument"] == "bb-trumpet"
        assert bad.reason
        assert {event.data["n"] for event in heard if event.kind == "part"} == {1, 2}
        client.delete(job.id)
        with pytest.raises(ServiceError) as gone:
            client.job(job.id)
        assert gone.value.status == 404
        assert gone.value.problem["code"] == "no-such-job"


def test_a_wrong_option_is_an_error_with_the_services_words(service: Service) -> None:
    with Client(service.url) as client, pytest.raises(ServiceError, match="show is 'never'") as refused:
        client.submit([("a.xml", score("F"))], {"show": "never"})
    assert refused.value.problem["errors"][0]["field"] == "show"


def test_a_service_that_is_not_there(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("annotator.client.TRIES", 2)
    with Client("http://127.0.0.1:1") as client, pytest.raises(ServiceError, match="does not answer"):
        client.job("x")
    with pytest.raises(ServiceError, match="http://"):
        Client("127.0.0.1:8080")


def test_submit_sends_a_folder_and_lays_out_the_results_alike(service: Service, tmp_path: Path) -> None:
    sent = tmp_path / "parts"
    (sent / "act 1").mkdir(parents=True)
    (sent / "act 1" / "tromba.xml").write_bytes(score("E"))
    (sent / "more.zip").write_bytes(archive({"act 2/tromba.xml": score("F")}))
    out = tmp_path / "marked"
    done = crookline("submit", sent, "-o", out, "--url", service.url, "--instrument", "bb-trumpet")
    assert done.returncode == 0, done.stderr
    assert annotator.strip((out / "act 1" / "tromba.xml").read_bytes()) == score("E")
    assert annotator.strip((out / "act 2" / "tromba.xml").read_bytes()) == score("F")
    report = json.loads((out / "act 1" / "tromba.xml.report.json").read_text())
    assert report["instrument"] == "bb-trumpet"
    with service.client() as client:
        names = [job["id"] for job in client.get("/v1/jobs", params={"limit": 1}).json()["jobs"]]
        assert all("act 1" not in client.get(f"/v1/jobs/{name}").text for name in names)


def test_submit_sends_the_players_along(service: Service, tmp_path: Path) -> None:
    (tmp_path / "tromba.xml").write_bytes(score("F"))
    players = tmp_path / "players.json"
    players.write_text('[{"name": "Ada"}, {"name": "Ben", "copy": "conductor"}]')
    out = tmp_path / "out"
    done = crookline("submit", tmp_path / "tromba.xml", "-o", out, "--url", service.url, "--players", players)
    assert done.returncode == 0, done.stderr
    assert (out / "Ben" / "tromba.xml").read_bytes() == score("F")
    assert b"<fingering" in (out / "Ada" / "tromba.xml").read_bytes()


def test_submit_names_what_failed(service: Service, tmp_path: Path) -> None:
    for name, data in (("good.xml", score("F")), ("bad.xml", BAD_SCORE)):
        (tmp_path / name).write_bytes(data)
    arguments = ("submit", tmp_path / "good.xml", tmp_path / "bad.xml", "-o", tmp_path / "out")
    done = crookline(*arguments, CROOKLINE_URL=service.url)
    assert done.returncode == 1
    assert "bad.xml: " in done.stderr
    assert (tmp_path / "out" / "good.xml").exists()
    nowhere = crookline("submit", tmp_path, "-o", tmp_path / "out", "--url", "nonsense")
    assert nowhere.returncode != 0
    assert "Traceback" not in nowhere.stderr


def test_the_demo_goes_the_whole_way_and_stops_what_it_started(tmp_path: Path) -> None:
    scores = tmp_path / "scores"
    scores.mkdir()
    for path in sorted((ROOT / "demo_scores").glob("0[1-3]*.musicxml")):
        (scores / path.name).write_bytes(path.read_bytes())
    sent = sorted(path.name for path in scores.iterdir())
    out = tmp_path / "out"
    done = crookline("demo", "--scores", scores, "-o", out)
    assert done.returncode == 0, done.stderr
    assert len(sent) == 3
    for name in sent:
        assert f"done   {name}" in done.stdout
        assert annotator.strip((out / name).read_bytes()) == (scores / name).read_bytes()
        report: dict[str, Any] = json.loads((out / f"{name}.report.json").read_text())
        assert report["source"]["name"] == name
    with zipfile.ZipFile(out / "archive.zip") as opened:
        assert set(sent) < set(opened.namelist())
    table = done.stdout[done.stdout.index("file ") :]
    assert "E: up a major" in table
    (scores / "bad.xml").write_bytes(BAD_SCORE)
    again = crookline("demo", "--scores", scores, "-o", out)
    assert again.returncode == 1
    assert "failed: bad.xml: " in again.stderr
    left = subprocess.run(["ps", "-eo", "args"], capture_output=True, text=True, check=True).stdout
    assert not [line for line in left.splitlines() if "crookline-demo-" in line]
