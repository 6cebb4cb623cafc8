"""The service against the bare library: 200 parts through two workers, and one étude at a time, while
nothing else is done and while 400 parts are."""

from __future__ import annotations

import os
import statistics
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import annotator
from annotator.client import Client
from api.server import in_background, service
from workers import logs
from workers.settings import Settings

PARTS = 200
BUSY_PARTS = 400
SAMPLES = 24
ROUNDS = 3
JOBS = 4
WORKERS = 2
DEMO = Path(__file__).parents[2] / "demo_scores"


def files(count: int = PARTS, what: str = "copy") -> list[tuple[str, bytes]]:
    """Parts from the demo scores, each different from all others, so that nothing is known from before."""
    scores = [(path.name, path.read_bytes()) for path in sorted(DEMO.glob("*.musicxml"))]
    scores = [(name, data) for name, data in scores if b"\0" not in data]  # not UTF-16: a comment is added
    found = []
    for n in range(count):
        name, data = scores[n % len(scores)]
        found.append((f"{n:03d} {name}", data + f"<!-- {what} {n} -->\n".encode()))
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


@dataclass(frozen=True, slots=True)
class Spread:
    """Seconds of the same thing done again and again."""

    seconds: tuple[float, ...]

    @property
    def p50(self) -> float:
        return statistics.median(self.seconds)

    @property
    def p95(self) -> float:
        return statistics.quantiles(self.seconds, n=20, method="inclusive")[-1]

    def __str__(self) -> str:
        return f"p50 {self.p50 * 1e3:7.1f} ms  p95 {self.p95 * 1e3:7.1f} ms  ({len(self.seconds)} samples)"


def cost_of_files(folder: Path) -> float:
    """Seconds to make a small file in a new folder, as the store does for each result."""
    start = time.perf_counter()
    for n in range(SAMPLES):
        (folder / f"cost {n}").mkdir()
        (folder / f"cost {n}" / "file").write_bytes(b"x")
    return (time.perf_counter() - start) / SAMPLES


def throughput(client: Client) -> None:
    """Many parts, from sending them to the end of the last; library and service take turns."""
    rounds = []
    print(f"service: {PARTS} parts through {WORKERS} workers, from sending to the end of the last")
    for turn in range(ROUNDS):
        sent = files(PARTS, f"round {turn} copy")
        alone, alone_used = library(sent)
        start, before = time.perf_counter(), processor_seconds()
        job = client.submit(sent)
        accepted = time.perf_counter() - start
        job = client.wait(job.id)
        took, used = time.perf_counter() - start, processor_seconds() - before
        assert job.state == "done", job.counts
        print(
            f"  library {alone:5.2f} s, processor {alone_used:5.2f} s   service {took:5.2f} s, "
            f"accepted {accepted:4.2f} s, processor {used:5.2f} s (client too)"
        )
        rounds.append((took / alone, (took - accepted) / alone, used / alone_used, used - alone_used))
    start = time.perf_counter()
    archive = client.archive(job.id)
    fetched = time.perf_counter() - start
    whole, work, processor, overhead = map(statistics.median, zip(*rounds, strict=True))
    print(f"  service / library                   {whole:6.2f}  (goal: at most 1.15)")
    print(f"  the same from the answer 202 on     {work:6.2f}")
    print(f"  processor: service / library        {processor:6.2f}")
    print(f"  overhead of the service             {overhead / PARTS * 1e3:6.2f} ms of one processor a part")
    print(f"  archive, {len(archive) / 1e6:.1f} MB                    {fetched:6.2f} s")


def flow(client: Client) -> None:
    """Several jobs sent one after the other: the next is taken in while the workers are at the last."""
    sent = [files(PARTS, f"flow {n} copy") for n in range(JOBS)]
    before, _ = library(sent[0])
    start = time.perf_counter()
    jobs = [client.submit(job).id for job in sent]
    for job_id in jobs:
        assert client.wait(job_id).state == "done"
    took = time.perf_counter() - start
    after, _ = library(sent[0])
    alone = JOBS * (before + after) / 2
    print(f"  {JOBS} such jobs sent one after the other: {took:5.2f} s, library {alone:5.2f} s")
    print(f"  service / library                   {took / alone:6.2f}  (goal: at most 1.15)")


def etude(n: str) -> tuple[str, bytes]:
    """A study, different each time."""
    path = DEMO / "06_locksman_study_trumpet_in_Bb.musicxml"
    return "study.musicxml", path.read_bytes() + f"<!-- {n} -->\n".encode()


def have_marked(client: Client, file: tuple[str, bytes]) -> float:
    """Seconds from sending a file to having it with its marks."""
    start = time.perf_counter()
    job = client.wait(client.submit([file]).id)
    assert job.state == "done"
    assert client.annotated(job.id, 1)
    return time.perf_counter() - start


def latency(client: Client, other: Client) -> None:
    """One étude beside the bare call: idle, and while a large job runs. The calls take turns."""
    for n in range(4):  # warm
        annotate(etude(f"warm {n}"))
        have_marked(client, etude(f"warm {n}"))
    bare, idle = [], []
    for n in range(SAMPLES):
        bare.append(annotate(etude(f"bare {n}")))
        idle.append(have_marked(client, etude(f"idle {n}")))
    busy: list[float] = []
    jobs = 0
    while len(busy) < SAMPLES and jobs < 5:
        large = other.submit(files(BUSY_PARTS, f"job {jobs}"))
        jobs += 1
        while len(busy) < SAMPLES:
            busy.append(have_marked(client, etude(f"busy {jobs} {len(busy)}")))
            counts = other.job(large.id).counts
            if counts["queued"] < BUSY_PARTS // 10:
                break
        other.delete(large.id)
    call, quiet, loaded = Spread(tuple(bare)), Spread(tuple(idle)), Spread(tuple(busy))
    most = 5 * call.p50 + 0.030
    print("service: one étude, from sending it to having it with its marks")
    print(f"  bare library call                 {call}")
    print(f"  service idle                      {quiet}")
    print(f"    p95                             {quiet.p95 * 1e3:7.1f} ms  (goal: under {most * 1e3:.0f} ms,")
    print("                                    5 bare calls and 30 ms)")
    print(f"  while {BUSY_PARTS} parts are worked on     {loaded}")
    print(f"    p95 / bare call                 {loaded.p95 / call.p50:7.1f}     (goal: under 20)")


def main() -> None:
    """Print the figures."""
    logs.configure("quiet")
    with tempfile.TemporaryDirectory() as store:
        settings = Settings(store=store, port=0, workers=WORKERS, log="quiet", rate="1000000 per minute")
        with (
            service(settings) as running,
            in_background(running),
            Client(running.url) as client,
            Client(running.url) as other,
        ):
            client.wait(client.submit(files(16), {"show": "first"}).id)  # warm
            cost = cost_of_files(Path(store)) * 1e3
            print(f"the store is in {store}, where a folder with a file in it costs {cost:.2f} ms")
            throughput(client)
            flow(client)
            latency(client, other)


if __name__ == "__main__":
    main()
