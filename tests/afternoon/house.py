"""The house: its processes, an object store that can be slow or fail, and owners who send parts."""

from __future__ import annotations

import logging
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import boto3
import httpx
from moto.server import ThreadedMotoServer

from tests.faults.inflicted import redis_with_a_log
from tests.service.conftest import ROOT, Service, started, this_checkout, wait_until
from tests.service.scores import score
from workers.embedded import free_port

OWNERS = ("brass", "conservatoire", "festival", "library", "opera", "pit")
SECRETS = {owner: f"secret of {owner}" for owner in OWNERS}


@dataclass
class Gate:
    """Stands before the object store: every request waits ``delay`` seconds, and a share ``failing`` of those
    whose path has ``word`` in it is answered with an error. Counts requests and the bytes written."""

    target: str
    delay: float = 0.0
    failing: float = 0.0
    word: str = ""
    requests: int = 0
    written: int = 0
    chance: random.Random = field(default_factory=lambda: random.Random(1))


@contextmanager
def gate(target: str) -> Iterator[tuple[Gate, str]]:
    """A gate on a free port, and its address."""
    stands = Gate(target)
    client = httpx.Client(base_url=target, timeout=60, limits=httpx.Limits(max_connections=64))

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def _pass(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
            stands.requests += 1
            stands.written += len(body) if self.command == "PUT" else 0
            time.sleep(stands.delay)
            if stands.word in self.path and stands.chance.random() < stands.failing:
                self._answer(503, {}, b"<Error><Code>ServiceUnavailable</Code></Error>")
                return
            headers = {name: value for name, value in self.headers.items() if name.lower() != "connection"}
            answer = client.request(self.command, self.path, headers=headers, content=body)
            kept = ("etag", "last-modified", "content-type", "content-range", "accept-ranges")
            fields = {
                name: value for name, value in answer.headers.items() if name in kept or name[:5] == "x-amz"
            }
            if self.command == "HEAD":
                fields["content-length"] = answer.headers.get("content-length", "0")
            self._answer(answer.status_code, fields, answer.content)

        def _answer(self, status: int, fields: dict[str, str], body: bytes) -> None:
            self.send_response(status)
            for name, value in fields.items():
                self.send_header(name, value)
            if "content-length" not in fields:
                self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            if self.command != "HEAD":
                self.wfile.write(body)

        def log_message(self, *_: Any) -> None:
            pass

    for verb in ("GET", "PUT", "POST", "DELETE", "HEAD"):
        setattr(Handler, f"do_{verb}", Handler._pass)
    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
    yield stands, f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    client.close()


@dataclass
class House:
    """What runs: the web servers, the workers by name, the store's gate, Redis."""

    folder: Path
    environment: dict[str, str]
    gate: Gate
    redis: subprocess.Popen[bytes]
    port: int
    stack: ExitStack
    web: list[Service] = field(default_factory=list)
    workers: dict[str, subprocess.Popen[bytes]] = field(default_factory=dict)

    def client(self, owner: str, which: int = 0) -> httpx.Client:
        """An owner's client at one of the web servers."""
        return self.web[which].client(headers={"Authorization": f"Bearer {SECRETS[owner]}"})

    def start_worker(self, name: str, **more: str) -> None:
        """A worker with a process, as one host has it."""
        command = [sys.executable, "-m", "celery", "--app", "workers.app", "worker", "--concurrency", "1"]
        command += [
            "--hostname",
            f"{name}@house",
            "--without-gossip",
            "--without-mingle",
            "--loglevel",
            "INFO",
        ]
        self.workers[name] = self._process(name, command, more)

    def start_scheduler(self) -> None:
        """The one that says when to sweep."""
        schedule = str(self.folder / "schedule")
        command = [sys.executable, "-m", "celery", "--app", "workers.app", "beat", "--schedule", schedule]
        self._process("scheduler", [*command, "--pidfile", ""], {})

    def _process(self, name: str, command: list[str], more: dict[str, str]) -> subprocess.Popen[bytes]:
        log = (self.folder / f"{name}.log").open("ab")
        process = subprocess.Popen(
            command,
            stdout=log,
            stderr=log,
            cwd=self.folder,
            env=this_checkout() | self.environment | more,
            start_new_session=True,
        )
        self.stack.callback(_end, process)
        return process

    def kill_worker(self, name: str) -> None:
        """A host is gone: the worker and its processes."""
        os.killpg(self.workers[name].pid, signal.SIGKILL)
        self.workers.pop(name).wait()

    def stop_redis(self) -> None:
        """Redis is gone, at once."""
        self.redis.kill()
        self.redis.wait()

    def start_redis(self) -> None:
        """Redis is back, with its append-only file."""
        self.redis = redis_with_a_log(self.folder / "redis", self.port)


def _end(process: subprocess.Popen[bytes]) -> None:
    if process.poll() is None:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()


@contextmanager
def bucket() -> Iterator[tuple[Gate, dict[str, str]]]:
    """An object store on this machine behind a gate, and the settings of a service that keeps jobs there."""
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    moto = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    moto.start()
    host, port = moto.get_host_and_port()
    access = {"aws_access_key_id": "key", "aws_secret_access_key": "secret", "region_name": "us-east-1"}
    try:
        with gate(f"http://{host}:{port}") as (stands, address):
            boto3.client("s3", endpoint_url=address, **access).create_bucket(Bucket="scores")
            yield (
                stands,
                {
                    "AWS_ENDPOINT_URL": address,
                    "AWS_ACCESS_KEY_ID": "key",
                    "AWS_SECRET_ACCESS_KEY": "secret",
                    "AWS_DEFAULT_REGION": "us-east-1",
                    "CROOKLINE_STORE": "s3://scores/house",
                },
            )
    finally:
        moto.stop()


@contextmanager
def house(folder: Path) -> Iterator[House]:
    """The whole house, up and ready."""
    with ExitStack() as stack:
        stands, store = stack.enter_context(bucket())
        queue = free_port()
        keys = ",".join(f"{name}:{sha256(secret.encode()).hexdigest()}" for name, secret in SECRETS.items())
        environment = {
            **store,
            "CROOKLINE_REDIS_URL": f"redis://127.0.0.1:{queue}/0",
            "CROOKLINE_KEYS": keys,
            "CROOKLINE_LANES": "6",
            "CROOKLINE_SWEEP_SECONDS": "5",
            "CROOKLINE_STALE_SECONDS": "20",
            "CROOKLINE_RATE": "1000000 per minute",
        }
        redis = redis_with_a_log(folder / "redis", queue)
        built = House(folder, environment, stands, redis, queue, stack)
        stack.callback(built.stop_redis)
        for name in ("one", "two", "three"):
            built.start_worker(name)
        built.start_scheduler()
        for n in (1, 2):
            more = environment | {"PYTHONPATH": str(ROOT)}
            service = started(folder / f"web{n}", "--no-workers", environment=more, store="")
            built.web.append(stack.enter_context(service))
        with built.client("pit") as client:
            wait_until(lambda: client.get("/readyz").status_code == 200, 60)
        yield built


def files(title: str, count: int, measures: int = 60) -> list[tuple[str, bytes]]:
    """Parts of one work."""
    return [(f"act {n}/tromba.xml", score("E", measures, f"{title} {n}")) for n in range(count)]
