"""A job's end is told to the address it brought, by a real server that answers as told."""

from __future__ import annotations

import base64
import json
import re
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import httpx
import pytest

from tests.service.conftest import Service, ended, post, started, this_checkout, wait_until
from tests.service.scores import BAD_SCORE, score
from workers.callbacks import hmac_sha256

SECRET = "only the library knows"


@dataclass
class Receiver:
    """A server that keeps what it is sent; it answers with the statuses given, the last one for ever."""

    statuses: list[int]
    url: str = ""
    got: list[tuple[float, str, dict[str, str], bytes]] = field(default_factory=list)


@contextmanager
def receiver(*statuses: int) -> Iterator[Receiver]:
    """A receiver on a free port."""
    kept = Receiver(list(statuses))

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            headers = {name.lower(): value for name, value in self.headers.items()}
            kept.got.append((time.monotonic(), self.path, headers, body))
            self.send_response(kept.statuses.pop(0) if len(kept.statuses) > 1 else kept.statuses[0])
            self.send_header("Location", "http://127.0.0.1:1/elsewhere")
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    kept.url = f"http://127.0.0.1:{server.server_port}/hook?shelf=7"
    threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True).start()
    yield kept
    server.shutdown()
    server.server_close()


@pytest.fixture(scope="module")
def telling(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service that may tell this machine."""
    environment = {
        "CROOKLINE_CALLBACK_PRIVATE": "yes",
        "CROOKLINE_CALLBACK_WAIT": "0.1",
        "CROOKLINE_CALLBACK_TRIES": "3",
    }
    with started(tmp_path_factory.mktemp("telling"), "--workers", "1", environment=environment) as running:
        yield running


def told(service: Service, url: str, **fields: str) -> str:
    """Send a job that tells ``url``; gives its id once it has ended."""
    with service.client() as client:
        answer = post(client, ("a.xml", score("F")), ("bad.xml", BAD_SCORE), callback_url=url, **fields)
        assert answer.status_code == 202, answer.text
        job_id: str = answer.json()["id"]
        ended(client, job_id)
        return job_id


def test_the_message_is_signed_and_whole(telling: Service) -> None:
    with receiver(200) as library:
        job_id = told(telling, library.url, callback_secret=SECRET)
        wait_until(lambda: library.got)
        _, path, headers, body = library.got[0]
    assert path == "/hook?shelf=7"
    document = json.loads(body)
    assert document["id"] == job_id
    assert document["state"] == "partly"
    assert document["counts"] == {"queued": 0, "running": 0, "done": 1, "failed": 1}
    # RFC 9530, 2: Content-Digest; RFC 9421, 2.5: the signature base, rebuilt here from what came
    assert headers["content-digest"] == f"sha-256=:{base64.b64encode(sha256(body).digest()).decode()}:"
    parameters = headers["signature-input"].removeprefix("sig=")
    covered = re.findall(r'"([^"]+)"', parameters[: parameters.index(")")])
    assert {"@method", "@target-uri", "content-digest"} <= set(covered)
    values = {"@method": "POST", "@target-uri": library.url, **headers}
    base = "\n".join(
        [*(f'"{name}": {values[name]}' for name in covered), f'"@signature-params": {parameters}']
    )
    mac = base64.b64decode(headers["signature"].removeprefix("sig=:").removesuffix(":"))
    assert mac == hmac_sha256(SECRET.encode(), base.encode())
    created = re.search(r";created=(\d+);", parameters)
    assert created is not None
    assert abs(int(created[1]) - time.time()) < 60


def test_a_receiver_in_trouble_is_told_again_with_longer_waits(telling: Service) -> None:
    with receiver(503, 500, 200) as library:
        told(telling, library.url, callback_secret=SECRET)
        wait_until(lambda: len(library.got) == 3)
        first, second, third = (when for when, *_ in library.got)
        assert second - first >= 0.1
        assert third - second >= 0.2


def test_a_receiver_that_refuses_or_redirects_is_left_alone(telling: Service) -> None:
    for status in (400, 302):
        with receiver(status) as library:
            job_id = told(telling, library.url, callback_secret=SECRET)
            wait_until(lambda job_id=job_id: _logged(telling, "callback not delivered", job_id))
            assert len(library.got) == 1


def test_the_secret_stays_inside(telling: Service) -> None:
    with receiver(200) as library, telling.client() as client:
        job_id = told(telling, library.url, callback_secret=SECRET)
        assert SECRET not in client.get(f"/v1/jobs/{job_id}").text
        assert SECRET not in telling.log.read_text()


def test_a_private_address_is_refused_at_once_unless_a_setting_allows_it(client: httpx.Client) -> None:
    for host in ("127.0.0.1", "localhost", "[::ffff:10.0.0.7]"):
        answer = post(
            client,
            ("a.xml", score("F")),
            callback_url=f"http://{host}:8000/hook",
            callback_secret=SECRET,
        )
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["field"] == "callback_url"
        assert "CROOKLINE_CALLBACK_PRIVATE" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"callback_url": "ftp://library.example/", "callback_secret": "x"}, "callback_url"),
        ({"callback_url": "https://library.example/hook"}, "callback_secret"),
    ],
)
def test_a_callback_that_cannot_be_used_is_refused(
    telling: Service, fields: dict[str, str], field: str
) -> None:
    with telling.client() as client:
        answer = post(client, ("a.xml", score("F")), **fields)
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["field"] == field


def _logged(service: Service, event: str, job_id: str) -> bool:
    """Whether a worker has written an event about a job (its log is where the service says)."""
    return any(event in line and job_id in line for line in service.log.read_text().splitlines())


def test_the_end_is_told_once_however_often_the_message_comes(telling: Service) -> None:
    with receiver(200) as library:
        job_id = told(telling, library.url, callback_secret=SECRET)
        wait_until(lambda: library.got)
        (queue,) = [
            word
            for line in telling.log.read_text().splitlines()
            for word in line.split()
            if word.startswith("redis://") or "redis://" in word
        ][:1]
        url = queue[queue.index("redis://") :].strip('",').replace(":**@", "")
        environment = this_checkout() | {"CROOKLINE_REDIS_URL": url, "CROOKLINE_STORE": str(telling.store)}
        again = (
            "from workers import queues, tasks\n"
            f"for _ in range(4): tasks.tell.apply_async(('local/{job_id}',), queue=queues.UPKEEP)"
        )
        subprocess.run([sys.executable, "-c", again], check=True, env=environment, timeout=60)
        # The next job's message comes after those four.
        other = told(telling, library.url, callback_secret=SECRET)
        wait_until(lambda: any(json.loads(body)["id"] == other for *_, body in library.got))
        assert sorted(json.loads(body)["id"] for *_, body in library.got) == sorted([job_id, other])
