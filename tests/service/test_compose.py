"""docker-compose.yml: what it promises, and its very commands run here with one Redis and one store."""

from __future__ import annotations

import contextlib
import signal
import subprocess
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import httpx
import yaml

from tests.service.conftest import ended, post, this_checkout, wait_until
from tests.service.scores import score
from tests.service.test_recovery import redis_or_skip
from workers.embedded import free_port

ROOT = Path(__file__).parents[2]
COMPOSE: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
SERVICES: dict[str, Any] = COMPOSE["services"]
SECRET = "of the house"


def test_every_service_is_kept_in_bounds() -> None:
    assert {"redis", "api", "worker"} <= set(SERVICES)
    for name, service in SERVICES.items():
        assert service["restart"] == "unless-stopped", name
        assert service["read_only"] is True, name
        assert service["cap_drop"] == ["ALL"], name
        assert service["healthcheck"]["test"], name
        assert {"cpus", "memory"} <= set(service["deploy"]["resources"]["limits"]), name
        assert "container_name" not in service, name  # or it could not be scaled
    assert "container_name" not in SERVICES["worker"]
    assert "ports" not in SERVICES["worker"]
    assert SERVICES["api"]["ports"] == ["127.0.0.1:8080:8080"]


def test_the_queue_is_appended_to_a_volume() -> None:
    command = SERVICES["redis"]["command"]
    assert command[command.index("--appendonly") + 1] == "yes"
    (mount,) = SERVICES["redis"]["volumes"]
    assert mount.partition(":")[0] in COMPOSE["volumes"]


def test_nobody_is_root() -> None:
    dockerfile = (ROOT / "Dockerfile").read_text(encoding="utf-8")
    assert "USER crookline" in dockerfile
    assert SERVICES["redis"]["user"] == "redis"


@contextlib.contextmanager
def process(command: list[str], environment: dict[str, str], log: Path) -> Iterator[subprocess.Popen[bytes]]:
    """A process of the compose file on this machine, ended by SIGTERM as a container is."""
    binaries = ROOT / ".venv" / "bin"
    given = this_checkout()
    with log.open("wb") as stream:
        started = subprocess.Popen(
            [str(binaries / command[0]), *command[1:]],
            env={**given, **environment},
            cwd=log.parent,
            stdout=stream,
            stderr=subprocess.STDOUT,
        )
    try:
        yield started
    finally:
        started.send_signal(signal.SIGTERM)
        assert started.wait(90) == 0, log.read_text()


def test_its_commands_share_a_job_between_two_workers(tmp_path: Path) -> None:
    with contextlib.ExitStack() as stack:
        port = str(free_port())
        environment = {
            **{name: value for name, value in SERVICES["worker"]["environment"].items() if "$" not in value},
            "CROOKLINE_REDIS_URL": stack.enter_context(redis_or_skip(tmp_path)),
            "CROOKLINE_STORE": str(tmp_path / "store"),
            "CROOKLINE_KEYS": f"house:{sha256(SECRET.encode()).hexdigest()}",
        }
        api = {
            **SERVICES["api"]["environment"],
            **environment,
            "CROOKLINE_HOST": "127.0.0.1",
            "CROOKLINE_PORT": port,
        }
        api = {name: value for name, value in api.items() if "$" not in value}
        stack.enter_context(process(SERVICES["api"]["command"], api, tmp_path / "api.log"))
        client = stack.enter_context(
            httpx.Client(base_url=f"http://127.0.0.1:{port}", headers={"Authorization": f"Bearer {SECRET}"})
        )
        wait_until(lambda: _status(client, "/healthz") == 200)
        # The web server tells the truth: nobody would work.
        answer = client.get("/readyz")
        assert answer.status_code == 503
        assert answer.json()["checks"]["workers"] == {
            "ok": False,
            "count": 0,
            "detail": "no worker has been heard of in the last seconds",
        }
        for name in ("one", "two"):
            command = [*SERVICES["worker"]["command"], "--hostname", f"{name}@here"]
            stack.enter_context(process(command, environment, tmp_path / f"{name}.log"))
        schedule = [word.replace("/tmp/", f"{tmp_path}/") for word in SERVICES["scheduler"]["command"]]
        stack.enter_context(process(schedule, environment, tmp_path / "scheduler.log"))
        wait_until(lambda: client.get("/readyz").json()["checks"]["workers"].get("count") == 2, 60)
        sent = [(f"{n}.xml", score("F", 60, f"Shared {n}")) for n in range(40)]
        job = ended(client, post(client, *sent).json()["id"], 90)
        assert job["state"] == "done"
        logs = [(tmp_path / f"{name}.log").read_text() for name in ("one", "two")]
        assert all('"part ended"' in log for log in logs)
        wait_until(lambda: list(tmp_path.glob("schedule*")))


def _status(client: httpx.Client, path: str) -> int:
    try:
        return client.get(path).status_code
    except httpx.HTTPError:
        return 0
