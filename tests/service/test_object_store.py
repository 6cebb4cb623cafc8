"""The whole job with its files in an object store: an S3 server started here (moto), reached by URL."""

from __future__ import annotations

import io
import logging
import time
import zipfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import boto3
import pytest
from moto.server import ThreadedMotoServer

import annotator
from tests.service.conftest import ended, post, started, wait_until
from tests.service.scores import BAD_SCORE, score
from workers.files import Files


@pytest.fixture(scope="module")
def bucket() -> Iterator[dict[str, str]]:
    """The environment in which ``s3://scores`` is a bucket of a server on this machine."""
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    environment = {
        "AWS_ENDPOINT_URL": f"http://{host}:{port}",
        "AWS_ACCESS_KEY_ID": "key",
        "AWS_SECRET_ACCESS_KEY": "secret",
        "AWS_DEFAULT_REGION": "us-east-1",
    }
    boto3.client(
        "s3",
        endpoint_url=environment["AWS_ENDPOINT_URL"],
        aws_access_key_id="key",
        aws_secret_access_key="secret",
        region_name="us-east-1",
    ).create_bucket(Bucket="scores")
    yield environment
    server.stop()


@pytest.fixture(params=["folder", "object store"])
def files(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Files:
    """Files in a folder and in an object store: they must behave alike."""
    if request.param == "folder":
        return Files(str(tmp_path / "store"))
    for name, value in request.getfixturevalue("bucket").items():
        monkeypatch.setenv(name, value)
    return Files(f"s3://scores/{tmp_path.name}")


def test_a_folder_and_an_object_store_behave_alike(files: Files) -> None:
    files.write("a/b/one.txt", b"1")
    files.write("a/b/one.txt", b"one")
    files.write("a/c/two.txt", b"two")
    assert files.read("a/b/one.txt") == b"one"
    assert files.names("a") == ["b", "c"]
    assert files.names("a/b") == ["one.txt"]
    assert files.names("nowhere") == []
    assert files.read_many(["a/b/one.txt", "a/b/none.txt"]) == {"a/b/one.txt": b"one"}
    assert files.exists("a/b/one.txt")
    assert not files.exists("a/b/none.txt")
    assert files.size("a/c/two.txt") == 3
    with files.open("a/c/two.txt") as stream:
        stream.seek(1)
        assert stream.read() == b"wo"
    files.write("p/pieces", b"one", b"", b"two")
    assert files.read("p/pieces") == b"onetwo"
    assert files.read_piece("p/pieces", 3, 3) == b"two"
    pieces = [("p/pieces", 3, 3), ("p/none", 0, 1), ("p/pieces", 0, 3)]
    assert files.read_pieces(pieces) == [b"two", None, b"one"]
    with pytest.raises(FileNotFoundError):
        files.read_piece("a/none.txt", 0, 1)
    with pytest.raises(FileNotFoundError):
        files.read("a/none.txt")
    with pytest.raises(FileNotFoundError):
        files.open("a/none.txt")
    assert files.create("k/new", b"first")
    assert not files.create("k/new", b"second")
    assert files.read("k/new") == b"first"
    files.check()
    written = {name: when for name, when, size in files.found("a") if size}
    assert list(written) == ["a/b/one.txt", "a/c/two.txt"]
    assert all(abs(when - time.time()) < 3600 for when in written.values())
    assert list(files.found("nowhere")) == []
    files.remove("a/b/one.txt")
    files.remove("a/b/one.txt")
    assert not files.exists("a/b/one.txt")
    files.write("d/e/three.txt", b"3")
    files.remove_all(["a/none.txt", "k/new"], ["a", "d/e", "nowhere"])
    assert files.names("a") == files.names("d") == files.names("k") == []


def test_writers_and_removers_do_not_hinder_each_other(tmp_path: Path) -> None:
    files = Files(str(tmp_path / "store"))

    def work(number: int) -> None:
        for n in range(150):
            files.write(f"active/{number}-{n}", b"x")
            files.remove(f"active/{number}-{n}")

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(work, range(8)))
    assert files.names("active") == []


def test_a_store_that_cannot_be_reached_is_an_oserror(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("AWS_ENDPOINT_URL", "http://127.0.0.1:1")
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "key")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "secret")
    monkeypatch.setenv("AWS_MAX_ATTEMPTS", "1")
    with pytest.raises(OSError, match="cannot be reached"):
        Files("s3://scores/unreachable").write("a", b"1")


def test_the_whole_job_on_an_object_store(bucket: dict[str, str], tmp_path: Path) -> None:
    environment = {**bucket, "CROOKLINE_STORE": "s3://scores/service"}
    with (
        started(tmp_path, "--workers", "2", store="", environment=environment) as service,
        service.client() as client,
    ):
        assert client.get("/readyz").json()["checks"]["store"]["ok"]
        sent = [(f"act {n}/tromba.xml", score("E", title=f"Act {n}")) for n in range(3)]
        answer = post(client, *sent, ("bad.xml", BAD_SCORE))
        assert answer.status_code == 202, answer.text
        job: dict[str, Any] = ended(client, answer.json()["id"])
        assert job["state"] == "partly"
        for part, (_, data) in zip(job["parts"][:3], sent, strict=True):
            assert annotator.strip(client.get(part["links"]["annotated"]).content) == data
            ranged = client.get(part["links"]["annotated"], headers={"Range": "bytes=0-4"})
            assert ranged.content == b"<?xml"
        with zipfile.ZipFile(io.BytesIO(client.get(job["links"]["archive"]).content)) as opened:
            assert {name for name, _ in sent} <= set(opened.namelist())
        assert client.get(job["parts"][0]["links"]["transposed"]).status_code == 200
        assert client.delete(job["links"]["self"]).status_code == 204
        assert client.get(job["links"]["self"]).status_code == 404
        assert not (tmp_path / "store").exists()
        listed = boto3.client(
            "s3",
            endpoint_url=bucket["AWS_ENDPOINT_URL"],
            aws_access_key_id="key",
            aws_secret_access_key="secret",
            region_name="us-east-1",
        )
        prefix = f"service/jobs/local/{job['id']}/"
        wait_until(lambda: not listed.list_objects_v2(Bucket="scores", Prefix=prefix).get("Contents"))
