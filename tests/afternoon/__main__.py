"""``python -m tests.afternoon``: the table situation × outcome × seconds, and what a part cost the store."""

from __future__ import annotations

import io
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import annotator
from tests.afternoon.house import OWNERS, House, files, house
from tests.service.conftest import ended, post

PARTS = 40
Jobs = list[tuple[str, str, list[tuple[str, bytes]]]]


def send(rooms: House, title: str, owners: tuple[str, ...] = OWNERS, count: int = PARTS) -> Jobs:
    """A job of each owner, at the web servers in turn."""
    jobs = []
    for place, owner in enumerate(owners):
        sent = files(f"{title} {owner}", count)
        with rooms.client(owner, place % 2) as client:
            answer = post(client, *sent)
            assert answer.status_code == 202, answer.text
            jobs.append((owner, answer.json()["id"], sent))
    return jobs


def outcome(rooms: House, jobs: Jobs) -> str:
    """Wait for jobs; what became of their parts."""
    done = failed = wrong = lost = 0
    for owner, job_id, sent in jobs:
        with rooms.client(owner, 1) as client:
            try:
                job: dict[str, Any] = ended(client, job_id, 180)
            except AssertionError:
                job = client.get(f"/v1/jobs/{job_id}").json()
            counts = job["counts"]
            done, failed = done + counts["done"], failed + counts["failed"]
            lost += counts["queued"] + counts["running"]
            part = job["parts"][-1]
            if part["state"] == "done":
                marked = client.get(part["links"]["annotated"]).content
                wrong += annotator.strip(marked) != sent[-1][1]
    return f"{done} done, {failed} failed, {lost} lost, {wrong} wrong"


def undisturbed(rooms: House, jobs: Jobs) -> None:
    """Nothing happens."""


def store_fails(rooms: House, jobs: Jobs) -> None:
    """Every request to the store fails for half a minute."""
    rooms.gate.failing = 1.0
    time.sleep(30)
    rooms.gate.failing = 0.0


def one_object_fails(rooms: House, jobs: Jobs) -> None:
    """One job's files are refused for 32 seconds."""
    rooms.gate.failing, rooms.gate.word = 1.0, f"{jobs[0][1]}/input"
    time.sleep(32)
    rooms.gate.failing, rooms.gate.word = 0.0, ""


def store_slow(rooms: House, jobs: Jobs) -> None:
    """Each request takes 30 ms, one in a hundred fails; it stays so until the jobs have ended."""
    rooms.gate.delay, rooms.gate.failing = 0.03, 0.01


def redis_back_with_its_file(rooms: House, jobs: Jobs) -> None:
    """Redis is away for five seconds and comes back with what it had written."""
    time.sleep(1)
    rooms.stop_redis()
    time.sleep(5)
    rooms.start_redis()


def host_gone(rooms: House, jobs: Jobs) -> None:
    """A host with a worker is gone, in the midst of its parts, and another comes."""
    time.sleep(0.5)
    rooms.kill_worker("one")
    rooms.start_worker("one")


def unreadable_job(rooms: House, jobs: Jobs) -> None:
    """A job that nobody can read lies before all others."""
    import boto3

    client = boto3.client(
        "s3",
        endpoint_url=rooms.environment["AWS_ENDPOINT_URL"],
        aws_access_key_id="key",
        aws_secret_access_key="secret",
        region_name="us-east-1",
    )
    bad = f"brass/{int(time.time() * 1000) - 60_000:011x}{0:020x}"
    client.put_object(Bucket="scores", Key=f"house/jobs/{bad}/job.json", Body=b'{"schema": "unheard of"}')
    client.put_object(Bucket="scores", Key=f"house/active/{bad.replace('/', '~')}", Body=b"")
    redis_back_with_its_file(rooms, jobs)


def other_lanes(rooms: House, jobs: Jobs) -> None:
    """A worker with other lanes than the web servers is the only one left."""
    for name in ("two", "three", "one"):
        rooms.kill_worker(name)
    rooms.start_worker("odd", CROOKLINE_LANES="2")


SITUATIONS: tuple[tuple[str, Callable[[House, Jobs], None]], ...] = (
    ("nothing happens", undisturbed),
    ("the store fails for 30 s", store_fails),
    ("one job's files refused for 32 s", one_object_fails),
    ("Redis away for 5 s, back with its file", redis_back_with_its_file),
    ("a worker's host gone", host_gone),
    ("an unreadable job, and Redis away", unreadable_job),
    ("a store of 30 ms with 1 % errors", store_slow),
    ("only a worker with other lanes left", other_lanes),
)


def main() -> None:
    """Exit status 1 when a part was lost, failed or wrong."""
    chosen = sys.argv[1] if len(sys.argv) > 1 else ""
    rows = ["| situation | outcome | seconds |", "|---|---|---|"]
    bad = False
    with tempfile.TemporaryDirectory() as name, house(Path(name)) as rooms:
        for title, happen in SITUATIONS:
            if chosen not in title:
                continue
            rooms.gate.requests = rooms.gate.written = 0
            began = time.monotonic()
            jobs = send(rooms, title)
            happen(rooms, jobs)
            found = outcome(rooms, jobs)
            took = time.monotonic() - began
            rows.append(f"| {title} | {found} | {took:.0f} |")
            print(rows[-1], flush=True)
            bad = bad or ", 0 failed, 0 lost, 0 wrong" not in found
            if happen is undisturbed:
                print(cost(rooms, jobs), flush=True)
            if happen is store_slow:
                print(archive(rooms, jobs), flush=True)
                rooms.gate.delay = rooms.gate.failing = 0.0
    print("\n".join(rows))
    sys.exit(bad)


def cost(rooms: House, jobs: Jobs) -> str:
    """What a part cost the store, the polling of these clients included."""
    parts = sum(len(sent) for _, _, sent in jobs)
    size = sum(len(data) for _, _, sent in jobs for _, data in sent)
    each, times = rooms.gate.requests / parts, rooms.gate.written / size
    return f"{each:.2f} requests a part, {times:.2f} times its bytes written ({size // parts} bytes a part)"


def archive(rooms: House, jobs: Jobs) -> str:
    """How soon the first byte of an archive comes from a slow store, and the last."""
    owner, job_id, _ = jobs[0]
    with rooms.client(owner) as client:
        began = time.monotonic()
        with client.stream("GET", f"/v1/jobs/{job_id}/archive") as answer:
            pieces = answer.iter_bytes(1000)
            first = next(pieces)
            sooner = time.monotonic() - began
            whole = first + b"".join(pieces)
        assert zipfile.ZipFile(io.BytesIO(whole)).testzip() is None
        took = time.monotonic() - began
        return f"archive of {PARTS} parts: first byte after {sooner:.2f} s, all after {took:.2f} s"


if __name__ == "__main__":
    main()
