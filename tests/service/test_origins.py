"""Under which names and from which pages the service may be asked, and that silence shuts nobody out."""

from __future__ import annotations

import socket
from contextlib import ExitStack
from urllib.parse import urlsplit

import httpx
import pytest

from tests.service.conftest import Service, post
from tests.service.scores import score

FOREIGN = "https://elsewhere.example"


@pytest.mark.parametrize("host", ["elsewhere.example", "127.0.0.1.elsewhere.example:8080", "192.0.2.7"])
@pytest.mark.parametrize("path", ["/v1/jobs", "/", "/docs"])
def test_a_name_that_was_made_to_point_here_is_refused(client: httpx.Client, host: str, path: str) -> None:
    answer = client.get(path, headers={"Host": host})
    assert answer.status_code == 421
    assert host.split(":", maxsplit=1)[0] in answer.text


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:1234", "127.0.0.1", "[::1]:80", "localhost."])
def test_this_machine_is_known_by_its_own_names(client: httpx.Client, host: str) -> None:
    assert client.get("/v1/jobs", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "fields",
    [
        {"Origin": FOREIGN},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Origin": "null"},
    ],
)
def test_a_page_of_another_site_cannot_send_or_remove(client: httpx.Client, fields: dict[str, str]) -> None:
    job = post(client, ("one.xml", score("F", title="Stays"))).raise_for_status().json()
    sent = client.post("/v1/jobs", files={"files": ("two.xml", score("F"))}, headers=fields)
    removed = client.delete(f"/v1/jobs/{job['id']}", headers=fields)
    assert (sent.status_code, removed.status_code) == (403, 403)
    assert sent.json()["code"] == "cross-site"
    assert client.get(f"/v1/jobs/{job['id']}").status_code == 200


def test_the_type_of_a_problem_does_not_come_from_the_host(client: httpx.Client) -> None:
    problem = client.get("/v1/jobs/none", headers={"Host": "localhost:1"}).json()
    assert problem["type"] == "/docs#no-such-job"


@pytest.mark.parametrize("path", ["/v1/jobs", "/v1/jobs/none", "/healthz", "/docs", "/openapi.json", "/"])
def test_every_answer_says_what_it_is_and_how_long_it_holds(client: httpx.Client, path: str) -> None:
    answer = client.get(path)
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Cache-Control"]


def test_silent_connections_shut_nobody_out(service: Service) -> None:
    where = urlsplit(service.url)
    assert where.hostname
    assert where.port
    with ExitStack() as stack:
        for _ in range(300):
            stack.enter_context(socket.create_connection((where.hostname, where.port), timeout=5))
        assert httpx.get(f"{service.url}/healthz", timeout=5).status_code == 200
