"""A service with keys and narrow limits."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import httpx
import pytest
from click.testing import CliRunner

from annotator.cli import crookline
from api.server import check_exposure
from tests.service.conftest import ROOT, Service, ended, post, sabotaged, started, wait_until
from tests.service.kept import accepted
from tests.service.scores import archive, score
from workers import quotas
from workers.context import Context
from workers.keys import Keyring, parse_keys
from workers.settings import BadSetting, Settings

SECRETS = {"pit": "secret of the pit", "library": "secret of the library"}
ORIGIN = "https://library.example"


@pytest.fixture(scope="module")
def keyed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service for two keys."""
    keys = ",".join(f"{name}:{sha256(secret.encode()).hexdigest()}" for name, secret in SECRETS.items())
    folder = tmp_path_factory.mktemp("keyed")
    with started(
        folder,
        "--workers",
        "1",
        environment=sabotaged(folder)
        | {
            "CROOKLINE_KEYS": keys,
            "CROOKLINE_MAX_UPLOAD": "300000",
            "CROOKLINE_MAX_FILE": "100000",
            "CROOKLINE_MAX_UNPACKED": "1000000",
            "CROOKLINE_MAX_PARTS": "5",
            "CROOKLINE_SMALL_PARTS": "0",
            "CROOKLINE_UPLOAD_RATE": "1000000",
            "CROOKLINE_RATE": "120 per minute",
            "CROOKLINE_CORS_ORIGINS": ORIGIN,
        },
    ) as running:
        yield running


def as_owner(service: Service, name: str) -> httpx.Client:
    """A client with a key."""
    return service.client(headers={"Authorization": f"Bearer {SECRETS[name]}"})


def test_every_route_but_health_needs_a_key(keyed: Service) -> None:
    with keyed.client() as nobody, as_owner(keyed, "pit") as pit:
        paths = pit.get("/openapi.json").json()["paths"]
        for path, item in paths.items():
            concrete = re.sub(r"\{\w+\}", "1", path)
            for method in item:
                answer = nobody.request(method, concrete)
                if path in ("/healthz", "/readyz"):
                    assert answer.status_code == 200
                    continue
                assert answer.status_code == 401, path
                # RFC 6750, 3, and RFC 9110, 11.6.1
                assert answer.headers["WWW-Authenticate"].startswith("Bearer ")
                assert answer.headers["Content-Type"] == "application/problem+json"
        for path in ("/openapi.json", "/docs", "/metrics"):
            assert nobody.get(path).status_code == 401
            assert pit.get(path).status_code == 200


@pytest.mark.parametrize("field", ["Bearer wrong", "Basic cGl0OnNlY3JldA==", "Bearer", "secret of the pit"])
def test_a_wrong_key_opens_nothing(keyed: Service, field: str) -> None:
    with keyed.client(headers={"Authorization": field}) as client:
        assert client.get("/v1/jobs").status_code == 401


def test_a_job_is_seen_by_its_owner_only(keyed: Service) -> None:
    with as_owner(keyed, "pit") as pit, as_owner(keyed, "library") as library:
        job: dict[str, Any] = ended(pit, post(pit, ("a.xml", score("F"))).json()["id"])
        part = job["parts"][0]["links"]["annotated"]
        assert pit.get(part).status_code == 200
        for path in (*job["links"].values(), part):
            assert library.get(path).status_code == 404
        assert library.delete(job["links"]["self"]).status_code == 404
        assert job["id"] not in [one["id"] for one in library.get("/v1/jobs").json()["jobs"]]
        assert job["id"] in [one["id"] for one in pit.get("/v1/jobs").json()["jobs"]]


def test_one_owners_idempotency_key_is_not_anothers(keyed: Service) -> None:
    ids = set()
    for name in SECRETS:
        with as_owner(keyed, name) as client:
            answer = client.post(
                "/v1/jobs", files=[("files", ("a.xml", score("F")))], headers={"Idempotency-Key": "one"}
            )
            ids.add(answer.json()["id"])
    assert len(ids) == 2


def test_wrong_keys_are_counted_and_their_address_is_logged(tmp_path: Path) -> None:
    digest = sha256(b"right").hexdigest()
    environment = {"CROOKLINE_KEYS": f"pit:{digest}", "CROOKLINE_WRONG_KEYS": "5 per minute"}
    with (
        started(tmp_path, "--workers", "1", environment=environment) as guarded,
        guarded.client() as client,
    ):
        tries = [client.get("/v1/jobs", headers={"Authorization": f"Bearer {n}"}) for n in range(8)]
        assert [answer.status_code for answer in tries] == [401] * 5 + [429] * 3
        assert 0 < int(tries[-1].headers["Retry-After"]) <= 60
        assert client.get("/v1/jobs").status_code == 401  # no key is no wrong key
        assert client.get("/v1/jobs", headers={"Authorization": "Bearer right"}).status_code == 200
        assert "127.0.0.1" in next(
            line for line in guarded.log.read_text().splitlines() if "wrong key" in line
        )


def test_keys_are_made_anew_without_a_restart(tmp_path: Path) -> None:
    file = tmp_path / "keys"
    entry = {secret: f"library/{secret}:{sha256(secret.encode()).hexdigest()}" for secret in ("old", "new")}
    file.write_text(f"# the library's desk\n{entry['old']}  # goes at the end of the month\n")
    environment = {
        "CROOKLINE_KEYS": f"@{file}",
        "CROOKLINE_OPERATOR_KEYS": f"ops:{sha256(b'ops').hexdigest()}",
    }

    def opens(client: httpx.Client, secret: str, path: str = "/v1/jobs") -> bool:
        return client.get(path, headers={"Authorization": f"Bearer {secret}"}).status_code == 200

    with (
        started(tmp_path / "service", "--workers", "1", environment=environment) as running,
        running.client() as client,
    ):
        assert opens(client, "old")
        assert not opens(client, "new")
        file.write_text("\n".join(entry.values()))
        wait_until(lambda: opens(client, "new"))
        assert opens(client, "old")  # both, until all desks have the new one
        file.write_text("this is no key")
        time.sleep(1.2)
        assert opens(client, "new")  # what cannot be read changes nothing
        file.write_text(entry["new"])
        wait_until(lambda: not opens(client, "old"))
        assert opens(client, "new")
        # The figures are the operator's.
        assert opens(client, "ops", "/metrics")
        assert not opens(client, "new", "/metrics")
        assert not opens(client, "ops")
        told = running.log.read_text()
        assert '"key": "new"' in told
        assert "the keys stay as they were" in told


def test_a_key_opens_up_to_its_last_day() -> None:
    digest = sha256(b"secret").hexdigest()
    today = datetime.now(UTC).date()
    for days, opens in ((-1, False), (0, True), (1, True)):
        (key,) = parse_keys(f"pit@{today + timedelta(days)}:{digest}")
        assert (Keyring((key,)).key_of("secret") is not None) is opens
        assert parse_keys(key.entry) == (key,)
    with pytest.raises(ValueError, match="no date"):
        parse_keys(f"pit@someday:{digest}")


def test_what_was_sent_fetched_removed_and_refused_can_be_asked_about_later(keyed: Service) -> None:
    with as_owner(keyed, "pit") as pit, keyed.client() as nobody:
        job: dict[str, Any] = ended(pit, post(pit, ("a.xml", score("F", title="Audited"))).json()["id"])
        pit.get(job["parts"][0]["links"]["annotated"])
        pit.delete(f"/v1/jobs/{job['id']}")
        nobody.get("/v1/jobs")
    lines = [json.loads(line) for line in keyed.log.read_text().splitlines() if '"audit"' in line]
    of_job = [line for line in lines if job["id"] in line["path"] or line["action"] == "accepted"]
    assert [line["action"] for line in of_job][-3:] == ["accepted", "fetched", "removed"]
    assert {line["owner"] for line in of_job} <= {"pit", "library"}
    assert {line["address"] for line in lines} == {"127.0.0.1"}
    assert any(line["action"] == "refused" and line["status"] == 401 for line in lines)


def test_an_owner_keeps_and_has_waiting_what_it_may(context: Context) -> None:
    settings = replace(context.settings, owner_bytes=0, owner_parts=4, queue_parts=6)
    small = Context(settings)
    first = accepted(small, ("a.xml", score("F")), ("b.xml", score("E")))
    quotas.check(small, "local", first.parts)
    with pytest.raises(quotas.QueueFull, match="2 parts of local"):
        quotas.check(small, "local", first.parts * 2)
    quotas.check(small, "library", first.parts * 2)
    with pytest.raises(quotas.QueueFull, match="2 parts are waiting"):
        quotas.check(Context(replace(settings, owner_parts=0)), "library", first.parts * 3)
    with pytest.raises(quotas.NoRoom, match="remove jobs"):
        quotas.check(
            Context(replace(settings, owner_bytes=first.parts[0].size * 3, owner_parts=0)),
            "local",
            first.parts,
        )


def test_a_full_queue_and_a_full_cupboard_are_said_as_such(tmp_path: Path) -> None:
    for name, status in (("CROOKLINE_QUEUE_PARTS", 503), ("CROOKLINE_OWNER_BYTES", 507)):
        with (
            started(tmp_path / name, "--workers", "1", environment={name: "1"}) as narrow,
            narrow.client() as client,
        ):
            answer = post(client, ("a.xml", score("F")), ("b.xml", score("E")))
            assert answer.status_code == status
            assert int(answer.headers["Retry-After"]) > 0
            assert client.get("/v1/jobs").json()["jobs"] == []


def test_a_proxy_that_is_trusted_is_believed_and_no_other(tmp_path: Path) -> None:
    digest = sha256(b"right").hexdigest()
    told = {"X-Forwarded-Proto": "https", "X-Forwarded-For": "192.0.2.1"}
    for trusted, secure in (("127.0.0.1", True), ("192.0.2.9", False)):
        environment = {"CROOKLINE_KEYS": f"pit:{digest}", "CROOKLINE_TRUSTED_PROXIES": trusted}
        with (
            started(tmp_path / trusted, "--workers", "1", environment=environment) as behind,
            behind.client() as client,
        ):
            answer = client.post("/key", data={"key": "right"}, headers=told)
            assert ("Secure" in answer.headers["Set-Cookie"]) is secure


def test_owners_share_the_workers_fairly(keyed: Service) -> None:
    # All jobs go through the bulk queue here, and there is one worker.
    with as_owner(keyed, "pit") as pit, as_owner(keyed, "library") as library:
        opera = [
            post(pit, *[(f"{n}.xml", score("F", 2, f"part dawdles {act} {n}")) for n in range(5)]).json()[
                "id"
            ]
            for act in range(4)
        ]
        ended(library, post(library, ("study.xml", score("E", title="A study"))).json()["id"])
        waiting = sum(pit.get(f"/v1/jobs/{act}").json()["counts"]["queued"] for act in opera)
        assert waiting >= 5
        for act in opera:
            pit.delete(f"/v1/jobs/{act}")


def test_the_secret_is_nowhere_in_log_or_store(keyed: Service) -> None:
    with as_owner(keyed, "pit") as pit:
        ended(pit, post(pit, ("a.xml", score("E"))).json()["id"])
    kept = [path.read_bytes() for path in keyed.store.rglob("*") if path.is_file()]
    for secret in SECRETS.values():
        assert secret not in keyed.log.read_text()
        assert not any(secret.encode() in data for data in kept)


def test_a_request_beyond_the_limit_is_refused(keyed: Service) -> None:
    # RFC 9110, 15.5.14 Content Too Large
    with as_owner(keyed, "library") as client:
        answer = post(client, ("a.xml", bytes(400_000)))
        assert answer.status_code == 413
        assert answer.headers["Content-Type"] == "application/problem+json"
        many = post(client, *[(f"{n}.xml", score("F")) for n in range(6)])
        assert many.status_code == 413
        assert "5 files" in many.json()["detail"]


def test_a_zip_bomb_is_refused(keyed: Service) -> None:
    bomb = archive({f"{n}.xml": bytes(900_000) for n in range(3)})
    assert len(bomb) < 10_000
    with as_owner(keyed, "library") as client:
        answer = post(client, ("bomb.zip", bomb))
        assert answer.status_code == 413
        assert answer.json()["code"] == "too-large"


def test_a_file_beyond_the_limit_fails_with_its_reason(keyed: Service) -> None:
    with as_owner(keyed, "library") as client:
        answer = post(client, ("big.xml", bytes(120_000)), ("good.xml", score("F")))
        job: dict[str, Any] = ended(client, answer.json()["id"])
        assert job["parts"][0]["reason"]["code"] == "too-large"
        assert job["parts"][1]["state"] == "done"


def test_another_origin_may_call_when_a_setting_names_it(keyed: Service) -> None:
    # Fetch Standard, 3.2.2 and 3.2.3: a preflight carries no credentials.
    with keyed.client() as browser:
        asked = {"Access-Control-Request-Method": "POST", "Access-Control-Request-Headers": "authorization"}
        answer = browser.options("/v1/jobs", headers={"Origin": ORIGIN, **asked})
        assert answer.status_code == 200
        assert answer.headers["Access-Control-Allow-Origin"] == ORIGIN
        assert "POST" in answer.headers["Access-Control-Allow-Methods"]
        assert "Authorization" in answer.headers["Access-Control-Allow-Headers"]
        other = browser.options("/v1/jobs", headers={"Origin": "https://other.example", **asked})
        assert "Access-Control-Allow-Origin" not in other.headers
        assert "Origin" in other.headers["Vary"]


class TestLimitsUsedUp:
    """Last in the file: after these the keys are used up for a while."""

    def test_uploaded_bytes_are_limited_for_each_key(self, keyed: Service) -> None:
        with as_owner(keyed, "library") as client:
            big = ("a.xml", score("F", 2) + b" " * 90_000)
            answers = [post(client, big, big) for _ in range(8)]
            assert answers[-1].status_code == 429
            # RFC 6585, 4: 429 may say when to come again
            assert 1 <= int(answers[-1].headers["Retry-After"]) <= 3600
            assert answers[-1].headers["Content-Type"] == "application/problem+json"
        with as_owner(keyed, "pit") as other:
            assert post(other, ("a.xml", score("F"))).status_code == 202

    def test_requests_are_limited_for_each_key(self, keyed: Service) -> None:
        with as_owner(keyed, "library") as client, as_owner(keyed, "pit") as other:
            statuses = [client.get("/v1/crooks").status_code for _ in range(125)]
            assert statuses[-1] == 429
            assert client.get("/healthz").status_code == 200
            assert other.get("/v1/crooks").status_code == 200


class TestCommand:
    """``crookline key`` and the settings it is for."""

    def test_a_key_made_by_the_command_opens_the_service(self) -> None:
        result = CliRunner().invoke(crookline, ["key", "pit-1"])
        assert result.exit_code == 0
        secret, entry = (line.strip() for line in result.output.splitlines() if line.startswith("  "))
        (key,) = parse_keys(entry)
        assert key.name == "pit-1"
        assert key.opens(secret)
        assert not key.opens(secret + "x")
        assert secret not in entry

    @pytest.mark.parametrize("name", ["", "a/b/c", "..", "x" * 41, "name with space", "ключ"])
    def test_a_name_that_cannot_be_one(self, name: str) -> None:
        assert CliRunner().invoke(crookline, ["key", name]).exit_code == 2

    @pytest.mark.parametrize(
        ("environment", "named"),
        [
            ({"CROOKLINE_HOST": "0.0.0.0"}, "CROOKLINE_KEYS"),
            ({"CROOKLINE_KEYS": "pit"}, "CROOKLINE_KEYS"),
            ({"CROOKLINE_KEYS": "a/b/c:" + "0" * 64}, "CROOKLINE_KEYS"),
            ({"CROOKLINE_KEYS": f"a:{'0' * 64} a:{'1' * 64}"}, "CROOKLINE_KEYS"),
            ({"CROOKLINE_KEYS": "@/nowhere"}, "CROOKLINE_KEYS"),
            ({"CROOKLINE_PORT": "many"}, "CROOKLINE_PORT"),
            ({"CROOKLINE_MAX_PARTS": "0"}, "CROOKLINE_MAX_PARTS"),
            ({"CROOKLINE_LOG": "loud"}, "CROOKLINE_LOG"),
            ({"CROOKLINE_CALLBACK_PRIVATE": "perhaps"}, "CROOKLINE_CALLBACK_PRIVATE"),
        ],
    )
    def test_a_wrong_setting_is_refused_and_named(self, environment: dict[str, str], named: str) -> None:
        with pytest.raises(BadSetting, match=named):
            check_exposure(Settings.from_environment(environment))

    def test_the_command_says_so_without_a_traceback(self, tmp_path: Path) -> None:
        code = "from annotator.cli import main; main()"
        done = subprocess.run(
            [sys.executable, "-c", code, "serve", "--host", "0.0.0.0", "--store", str(tmp_path)],
            env={"PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
        assert done.returncode == 2
        assert "CROOKLINE_KEYS" in done.stderr
        assert "Traceback" not in done.stderr

    def test_settings_go_through_the_environment_unchanged(self) -> None:
        settings = Settings(
            keys=parse_keys(f"a:{'0' * 64} b:{'1' * 64}"),
            cors_origins=(ORIGIN,),
            keep_days=0.5,
            callback_private=True,
        )
        assert Settings.from_environment(settings.environment()) == settings
