"""A job from sending the files to the archive, over HTTP, through a real queue."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path
from typing import Any

import httpx
import pypdf
import pytest

import annotator
from tests.service.conftest import ended, post
from tests.service.scores import BAD_SCORE, archive, mxl, score
from workers.intake import KINDS

DEMO_SCORES = Path(__file__).parents[2] / "demo_scores"


def test_ten_files_come_back_complete_and_as_the_library_marks_them(client: httpx.Client) -> None:
    files = [(f"part {n}.musicxml", score("F", title=f"Call {n}")) for n in range(10)]
    answer = post(client, *files, options=json.dumps({"instrument": "bb-trumpet"}))
    assert answer.status_code == 202
    assert answer.headers["Location"] == f"/v1/jobs/{answer.json()['id']}"
    job: dict[str, Any] = ended(client, answer.json()["id"])
    assert job["state"] == "done"
    assert job["counts"] == {"queued": 0, "running": 0, "done": 10, "failed": 0}
    assert [part["name"] for part in job["parts"]] == [name for name, _ in files]
    for part, (name, data) in zip(job["parts"], files, strict=True):
        expected = annotator.annotate(data, annotator.Options(instrument="bb-trumpet"), name)
        marked = client.get(part["links"]["annotated"])
        assert marked.content == expected.data
        assert client.get(part["links"]["report"]).json() == json.loads(json.dumps(expected.report))


def test_a_bad_file_fails_with_its_reason_and_the_others_are_delivered(
    client: httpx.Client, mixed_job: dict[str, Any]
) -> None:
    assert mixed_job["state"] == "partly"
    one, bad, two = mixed_job["parts"]
    assert (one["state"], bad["state"], two["state"]) == ("done", "failed", "done")
    assert bad["reason"]["code"] == "unreadable-score"
    assert len(bad["reason"]["message"]) > 20
    assert client.get(one["links"]["annotated"]).status_code == 200
    refused = client.get(f"/v1/jobs/{mixed_job['id']}/parts/2/annotated")
    assert refused.status_code == 404
    assert refused.json()["reason"]["message"] == bad["reason"]["message"]


def test_a_job_of_bad_files_only_has_failed(client: httpx.Client) -> None:
    job = ended(client, post(client, ("a.xml", BAD_SCORE), ("b.xml", b"")).json()["id"])
    assert job["state"] == "failed"


def test_an_mxl_comes_back_as_an_mxl(client: httpx.Client) -> None:
    data = mxl(score("E"))
    job: dict[str, Any] = ended(client, post(client, ("tromba.mxl", data)).json()["id"])
    answer = client.get(job["parts"][0]["links"]["annotated"])
    assert answer.headers["Content-Type"] == "application/vnd.recordare.musicxml"
    with zipfile.ZipFile(io.BytesIO(answer.content)) as opened:
        assert b"<fingering" in opened.read("score.xml")
    assert annotator.strip(answer.content) == data


def test_the_demo_scores_all_come_back(client: httpx.Client) -> None:
    files = [
        (path.name, path.read_bytes())
        for path in sorted(DEMO_SCORES.glob("*xml")) + sorted(DEMO_SCORES.glob("*.mxl"))
    ]
    assert len(files) >= 6
    job = ended(client, post(client, *files).json()["id"])
    assert job["state"] == "done", job


def test_the_archive_is_laid_out_as_the_zip_that_came_in(client: httpx.Client) -> None:
    sent = archive(
        {
            "opera/act 1/tromba 1.musicxml": score("E"),
            "opera/act 1/tromba 2.mxl": mxl(score("F")),
            "opera/act 2/bad.xml": BAD_SCORE,
            "opera/READ ME.txt": b"rehearsal on Tuesday",
            "__MACOSX/opera/._tromba 1.musicxml": b"not a score",
        }
    )
    job: dict[str, Any] = ended(client, post(client, ("opera.zip", sent)).json()["id"])
    assert job["state"] == "partly"
    assert job["skipped"] == [{"name": "opera/READ ME.txt", "reason": f"not a score ({KINDS})"}]
    answer = client.get(job["links"]["archive"])
    assert answer.headers["Content-Type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(answer.content)) as opened:
        names = opened.namelist()
        assert {"opera/act 1/tromba 1.musicxml", "opera/act 1/tromba 2.mxl"} < set(names)
        assert "opera/act 2/bad.xml.failed.txt" in names
        assert "opera/act 2/bad.xml" not in names
        summary = json.loads(opened.read("summary.json"))
        page = opened.read("summary.html").decode()
        annotated = opened.read("opera/act 1/tromba 1.musicxml")
    assert summary["counts"] == {"queued": 0, "running": 0, "done": 2, "failed": 1}
    assert 'href="opera/act%201/tromba%201.musicxml"' in page
    assert summary["parts"][2]["reason"]["message"][:20] in page
    assert "READ ME.txt" in page
    assert annotated == client.get(job["parts"][0]["links"]["annotated"]).content


def test_the_same_file_with_the_same_options_is_computed_once(client: httpx.Client) -> None:
    data = score("D", title="Only here")
    options = json.dumps({"instrument": "d-trumpet"})
    first: dict[str, Any] = ended(client, post(client, ("a.xml", data), options=options).json()["id"])
    again: dict[str, Any] = ended(client, post(client, ("b.xml", data), options=options).json()["id"])
    other: dict[str, Any] = ended(client, post(client, ("a.xml", data)).json()["id"])
    assert [job["parts"][0]["cached"] for job in (first, again, other)] == [False, True, False]
    reports = [client.get(job["parts"][0]["links"]["report"]).json() for job in (first, again)]
    assert [report["source"]["name"] for report in reports] == ["a.xml", "b.xml"]
    marked = [client.get(job["parts"][0]["links"]["annotated"]).content for job in (first, again)]
    assert marked[0] == marked[1]


def test_a_job_is_marked_for_the_hands_whose_profile_it_brings(client: httpx.Client) -> None:
    data, mine = score("D", title="For one hand"), 'name = "mine"\nbase = "student"\n'
    said = [{"profile": "student"}, {"profile": mine}]
    jobs: list[dict[str, Any]] = [
        ended(client, post(client, ("a.xml", data), options=json.dumps(options)).json()["id"])
        for options in said
    ]
    reports = [client.get(job["parts"][0]["links"]["report"]).json() for job in jobs]
    assert [report["options"]["profile"] for report in reports] == ["student", "mine"]
    assert reports[0]["parts"] == reports[1]["parts"]
    assert jobs[1]["options"] == said[1]
    with zipfile.ZipFile(io.BytesIO(client.get(jobs[1]["links"]["archive"]).content)) as opened:
        (summary,) = [name for name in opened.namelist() if name.endswith("summary.html")]
        assert "profile mine" in opened.read(summary).decode()
    assert "hands: mine" in client.get(f"/jobs/{jobs[1]['id']}/parts/1").text


def test_two_files_of_one_name_both_come_back(client: httpx.Client) -> None:
    answer = post(client, ("tromba.xml", score("F")), ("tromba.xml", score("E")))
    job: dict[str, Any] = ended(client, answer.json()["id"])
    assert [part["name"] for part in job["parts"]] == ["tromba.xml", "tromba (2).xml"]


def test_a_deleted_job_is_gone_with_its_files(client: httpx.Client, mixed_job: dict[str, Any]) -> None:
    path = f"/v1/jobs/{mixed_job['id']}"
    assert client.delete(path).status_code == 204
    assert client.get(path).status_code == 404
    assert client.get(f"{path}/archive").status_code == 404
    assert client.delete(path).status_code == 404


def test_deleting_a_job_stops_what_has_not_run(client: httpx.Client, service: Any) -> None:
    files = [(f"{n}.xml", score("F", 40, f"Long {n}")) for n in range(60)]
    job_id = post(client, *files).json()["id"]
    assert client.delete(f"/v1/jobs/{job_id}").status_code == 204
    follower = ended(client, post(client, ("after.xml", score("E"))).json()["id"])
    assert follower["state"] == "done"
    # A process that was ended in mid-write may leave something, which is no job's and goes with the upkeep.
    assert not (service.store / "jobs" / "local" / job_id / "job.json").exists()
    assert client.get(f"/v1/jobs/{job_id}").status_code == 404


@pytest.mark.parametrize(
    ("options", "field"),
    [
        ({"show": "sometimes"}, "show"),
        ({"mark": ["glitter"]}, "mark"),
        ({"colour": "red"}, "colour"),
        ({"instrument": 3}, "instrument"),
        ({"crook": "Q"}, "crook"),
        ({"instrument": "kazoo"}, "instrument"),
        ({"instrument": "../../etc/passwd"}, "instrument"),
        ({"profile": "/etc/passwd"}, "profile"),
        ({"profile": "exchange.first-thrid = 1"}, "profile"),
    ],
)
def test_a_wrong_option_is_refused_and_named(
    client: httpx.Client, options: dict[str, Any], field: str
) -> None:
    answer = post(client, ("a.xml", score("F")), options=json.dumps(options))
    assert answer.status_code == 422
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.json()["errors"][0]["field"] == field


@pytest.mark.parametrize("options", ["{", "[]", "null", '"F"', "[" * 100_000])
def test_options_that_are_no_object_are_refused(client: httpx.Client, options: str) -> None:
    answer = post(client, ("a.xml", score("F")), options=options)
    assert answer.status_code == 422
    assert answer.json()["code"] == "bad-option"


def test_jobs_are_listed_newest_first_in_pages(client: httpx.Client) -> None:
    sent = [post(client, ("a.xml", score("F"))).json()["id"] for _ in range(3)]
    answer = client.get("/v1/jobs", params={"limit": 2})
    listed = [job["id"] for job in answer.json()["jobs"]]
    assert listed == sent[:0:-1]
    next_page = client.get(answer.links["next"]["url"])
    assert next_page.json()["jobs"][0]["id"] == sent[0]
    assert client.get("/v1/jobs", params={"limit": 0}).json()["errors"][0]["field"] == "limit"


def test_the_service_says_that_it_is_ready(client: httpx.Client) -> None:
    assert client.get("/healthz").json() == {"status": "ok"}
    answer = client.get("/readyz")
    assert answer.status_code == 200
    assert {name: check["ok"] for name, check in answer.json()["checks"].items()} == {
        "redis": True,
        "workers": True,
        "store": True,
    }


def test_every_player_gets_a_folder_and_sheets_with_the_name_on(client: httpx.Client) -> None:
    names = ("05_launching_march_trumpets_1_2_in_D.musicxml", "03_night_ferry_trumpet_2_in_Bb.musicxml")
    files = [(name, (DEMO_SCORES / name).read_bytes()) for name in names]
    players = [
        {"name": "Ada Lunde", "part": ["1st"], "instrument": "bb-trumpet"},
        {"name": "Ben Okoro", "part": ["2nd"], "mark": ["partial"], "profile": "student"},
        {"name": "Conductor", "mark": []},
    ]
    answer = post(client, *files, players=json.dumps(players))
    assert answer.status_code == 202, answer.text
    job: dict[str, Any] = ended(client, answer.json()["id"])
    assert job["state"] == "done"
    with zipfile.ZipFile(io.BytesIO(client.get(f"/v1/jobs/{job['id']}/archive").content)) as packed:
        held = {name: packed.read(name) for name in packed.namelist() if name.endswith(".musicxml")}
    assert sorted(held) == sorted(
        [f"Ada Lunde/{names[0]}", *(f"{who}/{name}" for who in ("Ben Okoro", "Conductor") for name in names)]
    )
    assert [held[f"Conductor/{name}"] for name in names] == [data for _, data in files]
    expected = annotator.annotate(
        files[0][1], annotator.Options(mark=("partial",), profile="student", part=("P1",))
    )
    assert held[f"Ben Okoro/{names[0]}"] == expected.data
    for part in job["parts"]:
        assert part["name"].startswith(part["player"])
        assert client.get(part["links"]["report"]).json()["player"] == part["player"]
    sheets = pypdf.PdfReader(io.BytesIO(client.get(job["parts"][1]["links"]["pdf"]).content))
    assert all("Ben Okoro" in page.extract_text() for page in sheets.pages)


def test_players_that_are_wrong_are_refused_by_field(client: httpx.Client) -> None:
    answer = post(client, ("one.musicxml", score("F")), players='[{"name": "Ada", "instrument": "kazoo"}]')
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "players"
    assert "kazoo" in answer.text


def test_other_formats_go_the_same_way_and_a_scan_is_told_what_to_do(client: httpx.Client) -> None:
    tune = b'X:1\nT:Call\nM:4/4\nL:1/4\nK:C\nV:1 name="Trumpet in C"\n|: c G e c :|\n'
    job: dict[str, Any] = ended(
        client, post(client, ("call.abc", tune), ("scan.pdf", b"%PDF-1.7")).json()["id"]
    )
    call, scan = job["parts"]
    assert (job["state"], call["state"], scan["state"]) == ("partly", "done", "failed")
    assert "music-recognition" in scan["reason"]["message"]
    marked = client.get(call["links"]["annotated"])
    assert marked.content.startswith(b"<?xml")
    assert b"<fingering" in marked.content
    assert "call.abc.musicxml" in marked.headers["Content-Disposition"]
    with zipfile.ZipFile(io.BytesIO(client.get(f"/v1/jobs/{job['id']}/archive").content)) as packed:
        assert {"call.abc.musicxml", "call.abc.report.json", "scan.pdf.failed.txt"} <= set(packed.namelist())
    assert b"<fingering" not in client.get(call["links"]["transposed"]).content
