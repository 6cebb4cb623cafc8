"""The service against the bare library: 200 parts through two workers, and a study sent meanwhile."""

from __future__ import annotations

import logging
import os
import tempfile
import threading
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import annotator
from annotator.client import Client
from api.server import in_background, service
from workers import logs
from workers.settings import Settings

PARTS = 200
WORKERS = 2
DEMO = Path(__file__).parents[2] / "demo_scores"


def files() -> list[tuple[str, bytes]]:
    """Parts from the demo scores, each different from all others, so that nothing is known from before."""
    scores = [(path.name, path.read_bytes()) for path in sorted(DEMO.glob("*.musicxml"))]
    scores = [(name, data) for name, data in scores if b"\0" not in data]  # not UTF-16: a comment is added
    found = []
    for n in range(PARTS):
        name, data = scores[n % len(scores)]
        found.append((f"{n:03d} {name}", data + f"<!-- copy {n} -->\n".encode()))
    return found


def annotate(file: tuple[str, bytes]) -> float:
    """Mark one file; gives the seconds it took."""
    start = time.perf_counter()
    annotator.annotate(file[1], annotator.Options(), file[0])
    return time.perf_counter() - start


def processor_seconds(pid: int | str = "self") -> float:
    """Processor time of a process and all those it has started that still run (Linux)."""
    here = Path(f"/proc/{pid}")
    fields = (here / "stat").read_text().rpartition(")")[2].split()
    children = [child for task in here.glob("task/*/children") for child in task.read_text().split()]
    own = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return own + sum(processor_seconds(child) for child in children)


def library(sent: list[tuple[str, bytes]]) -> tuple[float, float]:
    """Seconds for all files with the bare library, in as many processes as there are workers, and the
    processor's seconds."""
    with ProcessPoolExecutor(WORKERS) as pool:
        list(pool.map(annotate, sent[:WORKERS]))  # the processes are there and warm
        start, used = time.perf_counter(), processor_seconds()
        list(pool.map(annotate, sent))
        return time.perf_counter() - start, processor_seconds() - used


def main() -> None:
    """Print the figures."""
    sent = files()
    alone, alone_used = library(sent)
    logging.getLogger("waitress").setLevel(logging.ERROR)
    logs.configure("quiet")
    with tempfile.TemporaryDirectory() as store:
        settings = Settings(store=store, port=0, workers=WORKERS, log="quiet")
        with service(settings) as running, in_background(running), Client(running.url) as client:
            client.wait(client.submit(sent[:4], {"show": "first"}).id)  # warm
            start, before = time.perf_counter(), processor_seconds()
            job = client.submit(sent)
            accepted = time.perf_counter() - start
            study: list[float] = []

            def send_study() -> None:
                with Client(running.url) as other:
                    begun = time.perf_counter()
                    data = sent[5][1] + b"<!-- study -->\n"
                    other.wait(other.submit([("study.musicxml", data)]).id)
                    study.append(time.perf_counter() - begun)

            thread = threading.Thread(target=send_study)
            thread.start()
            job = client.wait(job.id)
            took, used = time.perf_counter() - start, processor_seconds() - before
            thread.join()
            assert job.state == "done", job.counts
            start = time.perf_counter()
            archive = client.archive(job.id)
            fetched = time.perf_counter() - start
    overhead = (used - alone_used) / PARTS
    print(f"service: {PARTS} parts through {WORKERS} workers")
    print(f"  bare library, {WORKERS} processes      {alone:7.2f} s  {alone / PARTS * 1000:6.1f} ms a part")
    print(f"  service, from sending to the end  {took:7.2f} s  {took / PARTS * 1000:6.1f} ms a part")
    print(f"  processor, library and service    {alone_used:7.2f} s  {used:6.2f} s")
    print(f"  overhead of the service           {overhead * 1000:7.1f} ms of one processor for each part")
    print(f"  accepted (all files kept, queued) {accepted:7.2f} s")
    print(f"  a study sent while the job runs   {study[0]:7.2f} s")
    print(f"  archive, {len(archive) / 1e6:.1f} MB                  {fetched:7.2f} s")


if __name__ == "__main__":
    main()
