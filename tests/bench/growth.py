"""How the service's time grows with parts and with workers.

python -m tests.bench.growth
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time

from annotator.client import Client
from api.server import in_background, service
from tests.bench.service import files
from workers import logs
from workers.settings import Settings

PARTS = (25, 100, 400)
WORKERS = (1, 2)


def run(workers: int) -> None:
    """One service with so many workers, and jobs of growing size."""
    logs.configure("quiet")
    with tempfile.TemporaryDirectory() as store:
        settings = Settings(store=store, port=0, workers=workers, log="quiet", rate="1000000 per minute")
        with service(settings) as running, in_background(running), Client(running.url) as client:
            client.wait(client.submit(files(16, "warm")).id)
            for parts in PARTS:
                sent = files(parts, f"{workers} workers, {parts} parts")
                begun = time.perf_counter()
                client.wait(client.submit(sent).id)
                took = time.perf_counter() - begun
                each, hourly = took / parts * 1e3, 3600 * parts / took
                words = f"{took:6.2f} s  {each:6.1f} ms a part  {hourly:9,.0f} parts an hour"
                print(f"  {workers} workers  {parts:4} parts  {words}", flush=True)


def main() -> None:
    print("\nGrowth of a job: seconds from sending it to the end of its last part", flush=True)
    for workers in WORKERS:
        # A service belongs to a process: each in one of its own.
        subprocess.run([sys.executable, "-m", "tests.bench.growth", str(workers)], check=True)


if __name__ == "__main__":
    run(int(sys.argv[1])) if len(sys.argv) > 1 else main()
