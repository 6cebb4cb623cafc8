"""Tries faults and compares what comes of the parts with what comes of them undisturbed."""

from __future__ import annotations

import random
import tempfile
import time
from collections.abc import Iterable
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, cast

import annotator
from tests.faults.inflicted import Fault, Stage
from tests.service.conftest import Service, ended, post, sabotaged, started
from tests.service.scores import score

QUICK = {
    "CROOKLINE_SWEEP_SECONDS": "0.5",
    "CROOKLINE_STALE_SECONDS": "4",
    "CROOKLINE_TASK_SECONDS": "2",
    "CROOKLINE_TASK_MEMORY": "150000000",
    "CROOKLINE_RATE": "1000000 per minute",
    "CROOKLINE_STOP_SECONDS": "5",
}
WAIT_SECONDS = 120.0


@dataclass
class Tally:
    """What came of a fault: tries, parts, those lost or other than undisturbed, reasons that were (not)
    true, and the longest time from the fault's end to the last part's (seconds)."""

    fault: str
    tries: int = 0
    parts: int = 0
    lost: int = 0
    wrong: int = 0
    failed: int = 0
    true: int = 0
    recovered: list[float] = field(default_factory=list)

    def row(self) -> str:
        """A line of the table."""
        reasons = f"{self.true} of {self.failed}" if self.failed else "–"
        after = f"{max(self.recovered):.1f} s" if self.recovered else "–"
        kept = f"{self.lost} lost, {self.wrong} wrong of {self.parts}"
        return f"| {self.fault} | {self.tries} | {kept} | {reasons} | {after} |"


def parts_of(chance: random.Random, count: int) -> list[tuple[str, bytes]]:
    """Parts of several lengths, none like another."""
    return [
        (f"{n}.xml", score("F", chance.randrange(40, 200), f"{chance.random()} {n}")) for n in range(count)
    ]


def try_fault(fault: Fault, seed: int, tries: int, parts: int = 40) -> Tally:
    """Do a fault to a service so many times, each time in the midst of a new job."""
    tally = Tally(fault.name)
    chance = random.Random(f"{seed} {fault.name}")
    with tempfile.TemporaryDirectory() as name, ExitStack() as stack:
        folder = Path(name)

        def begin() -> Service:
            return stack.enter_context(
                started(folder, "--workers", "2", environment=environment, killed=_is_killer(fault))
            )

        stage = Stage(folder, chance, begin)
        stack.enter_context(stage.stack)
        environment = QUICK | sabotaged(folder) | fault.needs(stage)
        stage.service = begin()
        for _ in range(tries):
            _once(fault, stage, tally, parts)
        if _is_killer(fault):
            stage.here.process.kill()
    return tally


def _is_killer(fault: Fault) -> bool:
    return fault.name == "the whole service killed"


def _once(fault: Fault, stage: Stage, tally: Tally, parts: int) -> None:
    chance = stage.chance
    files = parts_of(chance, chance.choice((parts // 4, parts)))
    if fault.poison:
        files.insert(
            chance.randrange(len(files)), ("poison.xml", score("F", 3, f"{fault.poison} {chance.random()}"))
        )
    with stage.here.client() as client:
        answer = post(client, *files)
        assert answer.status_code == 202, answer.text
        job_id = answer.json()["id"]
    time.sleep(chance.uniform(0.0, 0.4))
    fault.inflict(stage)
    over = time.monotonic()
    with stage.here.client() as client:
        job: dict[str, Any] | None
        try:
            job = ended(client, job_id, WAIT_SECONDS)
        except AssertionError:
            job = client.get(f"/v1/jobs/{job_id}").json()
        assert job is not None
        tally.recovered.append(time.monotonic() - over)
        tally.tries += 1
        listed = cast("list[dict[str, Any]]", job["parts"])
        for part, file in zip(listed, files, strict=True):
            tally.parts += 1
            _compare(client, part, file, fault, tally)


def _compare(client: Any, part: dict[str, Any], file: tuple[str, bytes], fault: Fault, tally: Tally) -> None:
    name, data = file
    if part["state"] == "failed":
        tally.failed += 1
        expected = name == "poison.xml" and part["reason"]["code"] == fault.reason
        tally.true += expected
        tally.wrong += not expected
    elif part["state"] != "done":
        tally.lost += 1
    elif client.get(part["links"]["annotated"]).content != annotator.annotate(data, name=name).data:
        tally.wrong += 1
    elif name == "poison.xml":  # its product is the poison
        answer = client.get(part["links"]["transposed"])
        tally.failed += 1
        tally.true += answer.status_code == 422 and "ended its process 3 times" in answer.text


def table(tallies: Iterable[Tally]) -> str:
    """All of it, as a table."""
    head = "| fault | tries | parts lost, wrong | reason true | recovered after, at most |"
    return "\n".join([head, "|---|---|---|---|---|", *(tally.row() for tally in tallies)])
