"""HTTP as the standards have it; each check names the section it holds the service to."""

from __future__ import annotations

import io
import json
import re
import zipfile
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import httpx
import pytest

import annotator
from tests.service.conftest import ended, post
from tests.service.scores import archive, mxl, score

MUSICXML = "application/vnd.recordare.musicxml+xml"
MXL = "application/vnd.recordare.musicxml"


@pytest.fixture
def job(client: httpx.Client) -> dict[str, Any]:
    """A job of a plain and a compressed score, ended."""
    files = (("Tromba in Mi♭, n° 1.musicxml", score("E")), ("tromba.mxl", mxl(score("F"))))
    return ended(client, post(client, *files).json()["id"])


class TestProblems:
    """RFC 9457, Problem Details for HTTP APIs."""

    @pytest.mark.parametrize(
        ("method", "path", "status"),
        [
            ("GET", "/v1/jobs/0", 404),
            ("GET", f"/v1/jobs/{'0' * 31}", 404),
            ("GET", "/v1/jobs/..%2f..%2fetc", 404),
            ("GET", "/v1/nothing", 404),
            ("GET", "/v1/jobs?limit=x", 422),
            ("PUT", "/v1/jobs", 405),
            ("POST", "/v1/jobs", 422),
            ("GET", "/v1/instruments/kazoo/chart", 404),
        ],
    )
    def test_every_error_is_a_problem_document(
        self, client: httpx.Client, method: str, path: str, status: int
    ) -> None:
        answer = client.request(method, path)
        assert answer.status_code == status
        # 3: the media type; 3.1: status the number of the status, title and detail strings; 3.1.1: type a
        # reference with its full path, and no host, since that is what the asker has said.
        assert answer.headers["Content-Type"] == "application/problem+json"
        document = answer.json()
        assert document["type"] == "about:blank" or document["type"].startswith("/docs#")
        assert document["status"] == status
        assert document["title"]
        assert document["detail"]
        if document["type"] == "about:blank":  # 4.2.1: then the title is that of the status
            assert document["title"].lower() == httpx.codes.get_reason_phrase(status).lower()

    def test_the_type_leads_to_words_about_it(self, client: httpx.Client) -> None:
        # 4: types may be dereferenced to human-readable documentation.
        page, _, anchor = client.get("/v1/jobs/0").json()["type"].partition("#")
        assert f'id="{anchor}"' in client.get(page).text

    def test_validation_names_each_field_and_points_to_it(self, client: httpx.Client) -> None:
        # 3: the example extension ``errors`` with ``detail`` and ``pointer`` (RFC 6901).
        answer = client.post("/v1/jobs", data={"colour": "red"}, files=[("files", ("a.xml", b"<a/>"))])
        errors = answer.json()["errors"]
        assert [error["field"] for error in errors] == ["colour"]
        assert errors[0]["pointer"] == "/colour"
        assert errors[0]["detail"]


class TestMethods:
    """RFC 9110, section 9."""

    def test_head_is_get_without_content(self, client: httpx.Client, job: dict[str, Any]) -> None:
        # 9.3.2
        for path in (job["links"]["self"], job["parts"][0]["links"]["annotated"], "/v1/instruments"):
            whole, head = client.get(path), client.head(path)
            assert head.content == b""
            assert head.status_code == whole.status_code == 200
            for name in ("Content-Type", "Content-Length", "ETag"):
                assert head.headers[name] == whole.headers[name]

    def test_options_says_what_is_allowed(self, client: httpx.Client, job: dict[str, Any]) -> None:
        # 9.3.7 and 10.2.1
        answer = client.options(job["links"]["self"])
        assert answer.status_code == 200
        assert set(re.split(r",\s*", answer.headers["Allow"])) == {"GET", "HEAD", "OPTIONS", "DELETE"}

    def test_a_wrong_method_names_the_right_ones(self, client: httpx.Client) -> None:
        # 15.5.6: a 405 must have an Allow field
        answer = client.delete("/v1/jobs")
        assert answer.status_code == 405
        assert {"GET", "POST"} <= set(re.split(r",\s*", answer.headers["Allow"]))

    def test_an_accepted_job_has_a_location(self, client: httpx.Client) -> None:
        # 15.3.3 and 10.2.2
        answer = post(client, ("a.xml", score("F")))
        assert answer.status_code == 202
        assert client.get(answer.headers["Location"]).status_code == 200

    def test_no_other_origin_may_call_unless_a_setting_says_so(self, client: httpx.Client) -> None:
        # Fetch Standard, 3.2 CORS protocol
        answer = client.get("/v1/crooks", headers={"Origin": "https://library.example"})
        assert "Access-Control-Allow-Origin" not in answer.headers


class TestConditional:
    """RFC 9110, section 13."""

    def test_who_has_it_already_gets_304(self, client: httpx.Client, job: dict[str, Any]) -> None:
        # 13.1.2 If-None-Match, 15.4.5
        links = job["parts"][0]["links"]
        for path in (job["links"]["self"], links["annotated"], links["report"], job["links"]["archive"]):
            first = client.get(path)
            again = client.get(path, headers={"If-None-Match": first.headers["ETag"]})
            assert again.status_code == 304
            assert again.content == b""
            assert again.headers["ETag"] == first.headers["ETag"]
            assert client.get(path, headers={"If-None-Match": '"other"'}).status_code == 200

    def test_a_strong_tag_changes_with_the_bytes(self, client: httpx.Client, job: dict[str, Any]) -> None:
        # 8.8.3
        path = job["parts"][0]["links"]["annotated"]
        tags = {client.get(path, headers={"Accept": kind}).headers["ETag"] for kind in (MUSICXML, MXL)}
        assert len(tags) == 2
        assert all(re.fullmatch(r'"[^"]+"', tag) for tag in tags)


class TestRanges:
    """RFC 9110, section 14."""

    def test_a_range_of_a_file(self, client: httpx.Client, job: dict[str, Any]) -> None:
        # 14.2, 14.4, 15.3.7
        for path in (job["parts"][0]["links"]["annotated"], job["links"]["archive"]):
            whole = client.get(path)
            assert whole.headers["Accept-Ranges"] == "bytes"
            size = len(whole.content)
            for asked, first, last in (("10-19", 10, 19), ("0-", 0, size - 1), ("-5", size - 5, size - 1)):
                answer = client.get(path, headers={"Range": f"bytes={asked}"})
                assert answer.status_code == 206
                assert answer.headers["Content-Range"] == f"bytes {first}-{last}/{size}"
                assert answer.content == whole.content[first : last + 1]

    def test_a_range_beyond_the_end(self, client: httpx.Client, job: dict[str, Any]) -> None:
        # 15.5.17
        path = job["parts"][0]["links"]["annotated"]
        size = len(client.get(path).content)
        answer = client.get(path, headers={"Range": f"bytes={size + 10}-"})
        assert answer.status_code == 416
        assert answer.headers["Content-Range"] == f"bytes */{size}"
        assert answer.headers["Content-Type"] == "application/problem+json"

    def test_if_range_with_an_old_tag_gives_the_whole(
        self, client: httpx.Client, job: dict[str, Any]
    ) -> None:
        # 13.1.5
        path = job["parts"][0]["links"]["annotated"]
        answer = client.get(path, headers={"Range": "bytes=0-3", "If-Range": '"old"'})
        assert answer.status_code == 200
        tag = client.get(path).headers["ETag"]
        assert client.get(path, headers={"Range": "bytes=0-3", "If-Range": tag}).status_code == 206


class TestNegotiation:
    """RFC 9110, section 12, with the media types IANA has registered for MusicXML."""

    def test_the_media_types_are_the_registered_ones(self, client: httpx.Client, job: dict[str, Any]) -> None:
        # IANA media types, application/vnd.recordare.musicxml+xml and application/vnd.recordare.musicxml
        plain, compressed = (client.get(part["links"]["annotated"]) for part in job["parts"])
        assert plain.headers["Content-Type"] == MUSICXML  # and no charset: the file says its own
        assert compressed.headers["Content-Type"] == MXL

    @pytest.mark.parametrize("index", [0, 1])
    def test_either_form_on_request(self, client: httpx.Client, job: dict[str, Any], index: int) -> None:
        # 12.5.1 Accept, 12.5.5 Vary
        path = job["parts"][index]["links"]["annotated"]
        plain = client.get(path, headers={"Accept": f"{MUSICXML}, {MXL};q=0.5"})
        compressed = client.get(path, headers={"Accept": f"{MXL}, {MUSICXML};q=0.5"})
        assert (plain.headers["Content-Type"], compressed.headers["Content-Type"]) == (MUSICXML, MXL)
        assert "Accept" in plain.headers["Vary"]
        assert plain.content.startswith(b"<?xml")
        with zipfile.ZipFile(io.BytesIO(compressed.content)) as opened:
            assert opened.read("score.xml") == plain.content
        assert annotator.strip(plain.content) in (score("E"), score("F"))

    def test_anything_gives_it_as_it_came(self, client: httpx.Client, job: dict[str, Any]) -> None:
        path = job["parts"][1]["links"]["annotated"]
        assert client.get(path, headers={"Accept": "*/*"}).headers["Content-Type"] == MXL

    @pytest.mark.parametrize(
        ("accept", "kind"),
        [
            (f"{MUSICXML};q=0.1, */*", MXL),  # 12.5.1: the more specific range decides on a type
            (f"{MUSICXML};q=0, application/*", MXL),
            ("application/*;q=0.2", MUSICXML),
            (f"*/*;q=0.1, {MXL};q=0.3", MXL),
        ],
    )
    def test_wildcards_count_as_the_standard_says(
        self, client: httpx.Client, job: dict[str, Any], accept: str, kind: str
    ) -> None:
        path = job["parts"][0]["links"]["annotated"]
        assert client.get(path, headers={"Accept": accept}).headers["Content-Type"] == kind

    def test_a_range_in_an_unknown_unit_is_ignored(self, client: httpx.Client, job: dict[str, Any]) -> None:
        # 14.2
        path = job["parts"][0]["links"]["annotated"]
        answer = client.get(path, headers={"Range": "measures=2-7"})
        assert (answer.status_code, answer.content) == (200, client.get(path).content)

    def test_what_there_is_not_is_refused(self, client: httpx.Client, job: dict[str, Any]) -> None:
        # 15.5.7
        path = job["parts"][0]["links"]["annotated"]
        assert client.get(path, headers={"Accept": "audio/midi"}).status_code == 406

    def test_a_chart_to_read_to_look_at_and_to_print(self, client: httpx.Client) -> None:
        path = "/v1/instruments/bb-trumpet/chart"
        assert client.get(path).json()["instrument"] == "bb-trumpet"
        assert b"<svg" in client.get(path, headers={"Accept": "image/svg+xml"}).content
        assert client.get(path, headers={"Accept": "application/pdf"}).content.startswith(b"%PDF")
        some = client.get(path, params={"from": "C4", "to": "E4"}).json()["rows"]
        assert [row["written"] for row in some] == ["C4", "C#4", "D4", "Eb4", "E4"]
        assert client.get(path, params={"from": "H4"}).status_code == 422

    def test_sheets_of_a_size_for_a_player(self, client: httpx.Client, job: dict[str, Any]) -> None:
        pages = job["parts"][0]["links"]["pages"]
        plain = client.get(f"{pages}/1").text
        named = client.get(f"{pages}/1", params={"size": "large", "player": "Maren Oddvik"})
        assert "Maren Oddvik" in named.text
        assert "Maren Oddvik" not in plain
        assert len(client.get(pages, params={"size": "phone"}).json()["pages"]) == 1
        assert client.get(f"{pages}/1", params={"size": "tiny"}).status_code == 422


class TestNames:
    """RFC 6266, Content-Disposition, with RFC 8187 for names beyond ASCII."""

    def test_a_name_beyond_ascii(self, client: httpx.Client, job: dict[str, Any]) -> None:
        disposition = client.get(job["parts"][0]["links"]["annotated"]).headers["Content-Disposition"]
        assert disposition.startswith("attachment; ")
        plain = re.search(r'filename="([^"]*)"', disposition)
        extended = re.search(r"filename\*=UTF-8''([^;\s]+)", disposition)
        assert plain is not None
        assert plain[1].isascii()
        assert extended is not None
        assert unquote(extended[1]) == "Tromba in Mi♭, n° 1.musicxml"

    def test_a_name_from_a_zip_is_only_its_last_piece(self, client: httpx.Client) -> None:
        sent = archive({'acts/"quoted"; name.xml': score("F")})
        job: dict[str, Any] = ended(client, post(client, ("all.zip", sent)).json()["id"])
        disposition = client.get(job["parts"][0]["links"]["annotated"]).headers["Content-Disposition"]
        assert "acts" not in disposition
        assert "\n" not in disposition


class TestUploads:
    """What must not get in."""

    @pytest.mark.parametrize("kind", ["application/json", "application/xml", "text/plain", MUSICXML])
    def test_a_body_of_another_kind_is_refused_as_such(self, client: httpx.Client, kind: str) -> None:
        # RFC 9110, 15.5.16
        answer = client.post("/v1/jobs", content=b"{}", headers={"Content-Type": kind})
        assert (answer.status_code, answer.headers["Accept"]) == (415, "multipart/form-data")

    @pytest.mark.parametrize("options", ['{"part": "\\ud800"}', '{"part": ["\\udfff x"]}'])
    def test_half_a_character_is_refused(self, client: httpx.Client, options: str) -> None:
        assert post(client, ("a.xml", score("F")), options=options).status_code == 422

    @pytest.mark.parametrize(
        "name", ["../up.xml", "a/../../up.xml", "/etc/up.xml", "C:\\up.xml", "..\\up.xml"]
    )
    def test_a_path_that_leads_out_is_refused_alone(
        self, client: httpx.Client, service: Any, name: str
    ) -> None:
        answer = post(client, ("all.zip", archive({name: score("F"), "good.xml": score("F")})))
        job: dict[str, Any] = ended(client, answer.json()["id"])
        assert job["state"] == "partly"
        assert job["parts"][0]["reason"]["code"] == "bad-name"
        assert job["parts"][1]["state"] == "done"
        assert not list(Path(service.store).parent.rglob("up.xml"))

    def test_an_mxl_bomb_fails_with_its_reason(self, client: httpx.Client) -> None:
        bomb = mxl(bytes(60_000_000))
        answer = post(client, ("bomb.mxl", bomb), ("good.xml", score("F")))
        job: dict[str, Any] = ended(client, answer.json()["id"])
        assert job["parts"][0]["reason"]["code"] == "too-large"
        assert job["state"] == "partly"

    def test_a_truncated_zip_fails_and_the_others_go_on(self, client: httpx.Client) -> None:
        broken = archive({"a.xml": score("F")})[:-30]
        job: dict[str, Any] = ended(
            client, post(client, ("b.zip", broken), ("g.xml", score("F"))).json()["id"]
        )
        assert job["parts"][0]["reason"]["code"] == "bad-archive"
        assert job["state"] == "partly"

    @pytest.mark.parametrize("name", ['filename=""', ""])
    def test_a_file_without_a_name_is_refused(self, client: httpx.Client, name: str) -> None:
        # RFC 7578, 4.2: a file's part has a filename
        body = f'--x\r\nContent-Disposition: form-data; name="files"; {name}\r\n\r\n<a/>\r\n--x--\r\n'
        kind = {"Content-Type": "multipart/form-data; boundary=x"}
        answer = client.post("/v1/jobs", content=body.encode(), headers=kind)
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["field"].startswith("files")

    def test_nothing_but_other_files_is_refused(self, client: httpx.Client) -> None:
        answer = post(client, ("letter.pdf", b"%PDF-"))
        assert answer.status_code == 422
        assert "letter.pdf" in answer.json()["detail"]


class TestIdempotency:
    """Sending again with the same Idempotency-Key."""

    def test_the_same_request_is_the_same_job(self, client: httpx.Client) -> None:
        fields = {
            "data": {"options": "{}"},
            "headers": {"Idempotency-Key": f"again {id(client)}".replace(" ", "-")},
        }
        files = [("files", ("a.xml", score("F", title="Once")))]
        first, second = (client.post("/v1/jobs", files=files, **fields) for _ in range(2))  # type: ignore[arg-type]
        assert first.status_code == second.status_code == 202
        assert first.json()["id"] == second.json()["id"]
        other = client.post("/v1/jobs", files=[("files", ("a.xml", score("E")))], **fields)  # type: ignore[arg-type]
        assert other.status_code == 409
        assert other.json()["code"] == "idempotency-conflict"

    def test_a_key_that_cannot_be_one_is_named(self, client: httpx.Client) -> None:
        files = [("files", ("a.xml", score("F")))]
        answer = client.post("/v1/jobs", files=files, headers={"Idempotency-Key": "x" * 300})
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["field"] == "Idempotency-Key"


def test_metrics_count_parts_and_queues(client: httpx.Client, job: dict[str, Any]) -> None:
    # The text format of Prometheus, as its own library reads it.
    from prometheus_client.parser import text_string_to_metric_families

    text = client.get("/metrics").text
    found = {family.name: family for family in text_string_to_metric_families(text)}
    done = [sample.value for sample in found["crookline_parts"].samples if sample.labels["state"] == "done"]
    assert sum(done) >= len(job["parts"])
    assert {sample.labels["queue"] for sample in found["crookline_queue_depth"].samples} >= {
        "small-0",
        "bulk-0",
    }
    stages = {sample.labels["stage"] for sample in found["crookline_stage_seconds"].samples}
    assert {"wait", "fetch", "mark", "keep"} <= stages
    assert found["crookline_workers"].samples[0].value >= 1


def test_the_transposed_part_is_made_when_asked_for(client: httpx.Client, job: dict[str, Any]) -> None:
    answer = client.get(job["parts"][0]["links"]["transposed"])
    assert answer.status_code == 200
    assert b"<fingering" not in answer.content
    # A part in E up a major third on a C trumpet: written C5 becomes E5, and nothing is transposed any more.
    assert b"<chromatic>4" not in answer.content
    notes = annotator.annotate(answer.content).report["parts"][0]["lines"][0]["notes"]
    assert [note["written"] for note in notes[:4]] == ["E5", "B4", "G#5", "E5"]
    assert client.get(job["parts"][0]["links"]["transposed"]).content == answer.content


def test_exercises_are_made_when_asked_for(client: httpx.Client) -> None:
    demo = Path(__file__).parents[2] / "demo_scores"
    (study,) = demo.glob("*locksman*.musicxml")
    files = ((study.name, study.read_bytes()), ("study.mxl", mxl(study.read_bytes())))
    job: dict[str, Any] = ended(client, post(client, *files).json()["id"])
    for part in job["parts"]:
        answer = client.get(part["links"]["exercises"])
        assert answer.status_code == 200, answer.text
        assert answer.headers["Content-Type"] == MUSICXML
        assert annotator.annotate(answer.content).report["summary"]["notes"] > 20


def test_tables_of_instruments_and_crooks(client: httpx.Client) -> None:
    instruments = client.get("/v1/instruments").json()["instruments"]
    sounding = {one["id"]: one["sounding"]["chromatic"] for one in instruments}
    # MusicXML 4.0, transpose element: sounding minus written, in semitones.
    assert sounding | {"c-trumpet": 0, "bb-trumpet": -2, "d-trumpet": 2, "a-piccolo": 9} == sounding
    for one in instruments:
        rows = client.get(one["links"]["chart"]).json()["rows"]
        assert len(rows) >= 30
    crooks = {one["id"]: one["sounding"] for one in client.get("/v1/crooks").json()["crooks"]}
    assert crooks["E"] == {"diatonic": 2, "chromatic": 4}


def test_the_log_names_job_and_part(client: httpx.Client, service: Any, job: dict[str, Any]) -> None:
    lines = [json.loads(line) for line in service.log.read_text().splitlines() if line.startswith("{")]
    accepted = [line for line in lines if line["event"] == "job accepted" and line["job"].endswith(job["id"])]
    assert len(accepted) == 1
    assert accepted[0]["request"]
