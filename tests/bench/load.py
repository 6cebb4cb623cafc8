"""``make load``: a thousand parts from twenty clients, undisturbed and beside one client that misbehaves.

Everything stays on 127.0.0.1 and is bounded: each round sends the same parts anew and ends with them. Beside
it one asks ``/healthz`` and for one étude's report again and again. Memory is that of the service and all
processes it has started (Linux).
"""

from __future__ import annotations

import argparse
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from urllib.parse import urlsplit

import httpx

from annotator.client import Client
from tests.bench.scores import part_of
from tests.bench.service import files

CLIENTS = 20
OWNERS = ("pit", "library", "stranger")  # the last one misbehaves


@dataclass(slots=True)
class Round:
    """What was measured while the parts were worked on."""

    seconds: float = 0.0
    lost: int = 0
    health: list[float] = field(default_factory=list)
    report: list[float] = field(default_factory=list)
    refused: int = 0
    memory: int = 0


@dataclass(frozen=True, slots=True)
class Place:
    """The service: its address, its process, an ended job of each owner's."""

    url: str
    pid: int
    jobs: dict[str, str]

    def part(self, number: int, what: str) -> str:
        """The path of something made of one of the stranger's parts."""
        return f"/v1/jobs/{self.jobs['stranger']}/parts/{number % 40 + 1}/{what}"

    def client(self, owner: str) -> httpx.Client:
        """An HTTP client with the owner's key."""
        return httpx.Client(
            base_url=self.url,
            headers={"Authorization": f"Bearer {owner}"},
            timeout=120,
            limits=httpx.Limits(),
        )


Misbehaviour = Callable[[Place, threading.Event], None]


def silent(place: Place, over: threading.Event) -> None:
    """Four hundred connections on which nothing is said."""
    where = urlsplit(place.url)
    with ExitStack() as stack:
        for _ in range(400):
            stack.enter_context(socket.create_connection((where.hostname or "", where.port or 0), timeout=30))
        over.wait()


def waiting(place: Place, over: threading.Event) -> None:
    """Sixty requests at a time for what has yet to be made."""
    _again(
        place,
        over,
        60,
        lambda client, n: client.get(place.part(n, "exercises")),
    )


def streams(place: Place, over: threading.Event) -> None:
    """Eighty event streams at a time."""

    def follow(client: httpx.Client, n: int) -> None:
        with client.stream("GET", f"/v1/jobs/{place.jobs['stranger']}/events") as answer:
            for _ in answer.iter_raw():
                if over.is_set():
                    return

    _again(place, over, 80, follow)


def drawing(place: Place, over: threading.Event) -> None:
    """Twenty requests at a time for documents that take long to draw."""
    _again(
        place,
        over,
        20,
        lambda client, n: client.get(place.part(n, "pdf")),
    )


def guessing(place: Place, over: threading.Event) -> None:
    """Ten at a time that guess keys."""
    _again(
        place, over, 10, lambda client, n: client.get("/v1/jobs", headers={"Authorization": f"Bearer {n}"})
    )


def guess(number: int) -> dict[str, str]:
    """A key that nobody has."""
    return {"Authorization": f"Bearer {number}"}


def dribbling(place: Place, over: threading.Event) -> None:
    """Fifty uploads that come a byte at a time."""

    def drops() -> Iterator[bytes]:
        while not over.wait(0.2):
            yield b"x"

    _again(place, over, 50, lambda client, _: client.post("/v1/jobs", content=drops()))


def hoarding(place: Place, over: threading.Event) -> None:
    """Fifty downloads of an archive that nobody reads on."""

    def take(client: httpx.Client, _: int) -> None:
        with client.stream("GET", f"/v1/jobs/{place.jobs['stranger']}/archive") as answer:
            next(answer.iter_raw(), b"")
            over.wait()

    _again(place, over, 50, take)


MISBEHAVIOURS: dict[str, Misbehaviour] = {
    "silent connections": silent,
    "waiting for results": waiting,
    "event streams": streams,
    "drawing": drawing,
    "guessing keys": guessing,
    "dribbling uploads": dribbling,
    "hoarding downloads": hoarding,
}


def _again(
    place: Place, over: threading.Event, count: int, ask: Callable[[httpx.Client, int], object]
) -> None:
    """``count`` threads that ask until it is over."""

    def go(number: int) -> None:
        with place.client("stranger") as client:
            while not over.is_set():
                try:
                    ask(client, number)
                except httpx.HTTPError:
                    over.wait(0.1)
                number += count

    threads = [threading.Thread(target=go, args=(number,), daemon=True) for number in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        over.wait()
        thread.join(10)


def measure(place: Place, parts: int, what: str, misbehave: Misbehaviour | None) -> Round:
    """One round: ``parts`` parts of two owners from twenty clients."""
    found, over = Round(), threading.Event()
    each = parts // CLIENTS
    sent = files(each * CLIENTS, what)

    def ask(path: str, owner: str, into: list[float]) -> None:
        with place.client(owner) as client:
            while not over.wait(0.05):
                began = time.perf_counter()
                answer = client.get(path)
                into.append(time.perf_counter() - began)
                found.refused += answer.status_code != 200

    def send(number: int) -> int:
        with Client(place.url, secret=OWNERS[number % 2], timeout=300) as client:
            job = client.submit(sent[number * each : (number + 1) * each])
            job = client.wait(job.id)
            return sum(part.state != "done" for part in job.parts)

    report = f"/v1/jobs/{place.jobs['pit']}/parts/1/report"
    beside = [
        threading.Thread(target=ask, args=("/healthz", "pit", found.health)),
        threading.Thread(target=ask, args=(report, "pit", found.report)),
    ]
    if misbehave is not None:
        beside.append(threading.Thread(target=misbehave, args=(place, over)))
    for thread in beside:
        thread.start()
    began = time.perf_counter()
    with ThreadPoolExecutor(CLIENTS) as pool:
        found.lost = sum(pool.map(send, range(CLIENTS)))
    found.seconds = time.perf_counter() - began
    found.memory = memory(place.pid)
    over.set()
    for thread in beside:
        thread.join(60)
    return found


def memory(pid: int) -> int:
    """Resident bytes of a process and all that it has started."""
    here = Path(f"/proc/{pid}")
    resident = next((line for line in (here / "status").read_text().splitlines() if "VmRSS" in line), "0 0")
    children = [child for task in here.glob("task/*/children") for child in task.read_text().split()]
    return int(resident.split()[1]) * 1024 + sum(memory(int(child)) for child in children)


@contextmanager
def slow_store() -> Iterator[dict[str, str]]:
    """The settings of an object store that takes 30 ms for a request and fails one in a hundred."""
    from tests.afternoon.house import bucket

    with bucket() as (gate, environment):
        gate.delay, gate.failing = 0.03, 0.01
        yield environment


@contextmanager
def serving(folder: Path, more: dict[str, str]) -> Iterator[Place]:
    """The service with a key for each owner, and a job of each that has ended."""
    keys = ",".join(f"{name}:{sha256(name.encode()).hexdigest()}" for name in OWNERS)
    command = [
        sys.executable,
        "-m",
        "annotator.cli",
        "serve",
        "--port",
        "0",
    ]
    environment = {
        "CROOKLINE_STORE": str(folder / "store"),
        "PATH": "/usr/bin:/bin",
        "CROOKLINE_KEYS": keys,
        "CROOKLINE_RATE": "1000000 per minute",
        "CROOKLINE_LOG": "quiet",
        **more,
    }
    with (folder / "log").open("w") as log:
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=log, text=True, env=environment)
    try:
        assert process.stdout is not None
        url = process.stdout.readline().split()[3].rstrip("/")
        jobs = {}
        for owner in OWNERS:
            with Client(url, secret=owner, timeout=300) as client:
                scores = [("long.musicxml", part_of(3000))] if owner == "pit" else files(40, owner)
                jobs[owner] = client.wait(client.submit(scores).id).id
        yield Place(url, process.pid, jobs)
    finally:
        process.terminate()
        process.wait(90)


def p95(seconds: list[float]) -> float:
    """Milliseconds that 95 of 100 are answered in."""
    return 1000 * statistics.quantiles(seconds, n=20, method="inclusive")[-1] if len(seconds) > 1 else 0.0


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--parts", type=int, default=1000)
    asked.add_argument("--only", choices=MISBEHAVIOURS, action="append", default=[])
    asked.add_argument("--slow-store", action="store_true", help="30 ms a request, 1 in 100 fails")
    given = asked.parse_args()
    print("| beside it | seconds | not done | /healthz p95, max ms | report p95, max ms | not 200 | MB |")
    print("|---|---|---|---|---|---|---|")
    with ExitStack() as stack:
        folder = stack.enter_context(tempfile.TemporaryDirectory(prefix="crookline-load-"))
        more = stack.enter_context(slow_store()) if given.slow_store else {}
        place = stack.enter_context(serving(Path(folder), more))
        others = () if given.slow_store else given.only or MISBEHAVIOURS
        for name in ("nothing", *others):
            found = measure(place, given.parts, name, MISBEHAVIOURS.get(name))
            print(
                f"| {name} | {found.seconds:.1f} | {found.lost} "
                f"| {p95(found.health):.0f}, {1000 * max(found.health):.0f} "
                f"| {p95(found.report):.0f}, {1000 * max(found.report):.0f} | {found.refused} "
                f"| {found.memory / 1e6:.0f} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
