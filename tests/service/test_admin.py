"""What an operator sees and does: the command, the figures, readiness."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from api.health import checks
from tests.service.conftest import post, sabotaged, started, this_checkout, wait_until
from tests.service.kept import accepted
from tests.service.scores import score
from tests.service.test_recovery import QUICK
from workers import operator, queues, upkeep
from workers.context import Context
from workers.settings import Settings

STOP = {"CROOKLINE_STOP_SECONDS": "2"}
COMMAND = [sys.executable, "-m", "workers.admin"]


def admin(store: Path, *words: str) -> Any:
    """What the command prints as JSON, or its words."""
    command = [*COMMAND, "--store", str(store), *words]
    done = subprocess.run(command, capture_output=True, text=True, env=this_checkout(), check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout) if "--json" in words else done.stdout


def test_an_operator_finds_what_is_stuck_and_cancels_it(tmp_path: Path) -> None:
    with (
        started(tmp_path, "--workers", "1", environment=sabotaged(tmp_path) | QUICK | STOP) as service,
        service.client() as client,
    ):
        files = [("endless.xml", score("F", title="part hangs")), ("next.xml", score("E"))]
        job_id = post(client, *files).json()["id"]
        wait_until(lambda: client.get(f"/v1/jobs/{job_id}").json()["counts"]["running"])
        (found,) = admin(service.store, "stuck", "--json")["unfinished"]
        assert found["ref"] == f"local/{job_id}"
        assert (found["parts"], found["ended"], found["lost"]) == (2, 0, 0)
        assert job_id in admin(service.store, "stuck")
        assert admin(service.store, "usage", "--json")["local"]["unfinished"] == 1
        (worker,) = admin(service.store, "workers", "--json")
        assert "upkeep" in worker["queues"]
        assert "parts sent again" in admin(service.store, "again", f"local/{job_id}")
        assert "removed" in admin(service.store, "cancel", f"local/{job_id}")
        assert client.get(f"/v1/jobs/{job_id}").status_code == 404
        assert "Every job is finished." in admin(service.store, "stuck")
        metrics = client.get("/metrics").text
        for name in ("sweep_age_seconds", "unfinished_jobs", "unacknowledged", "stray_messages"):
            assert f"\ncrookline_{name} " in metrics
        assert 'crookline_build_info{version="' in metrics


def test_lanes_that_no_worker_listens_to_are_seen_and_their_jobs_done(context: Context) -> None:
    """The web server believes in eight lanes, the workers in four (the sweep is theirs)."""
    context.hands.say("one", "one@here", queues.names(Settings(lanes=4)))
    assert operator.unheard(context) == []
    web = Context(Settings(redis_url=context.settings.redis_url, store=context.settings.store, lanes=8))
    assert not checks(web)["workers"]["ok"]
    assert "CROOKLINE_LANES" in checks(web)["workers"]["detail"]
    job = accepted(context, ("a.xml", score("F")))
    context.live.queued(job)
    stray = "small-7"
    context.connection.sadd(queues.USED, stray)
    context.connection.lpush(stray, json.dumps({"headers": {"sent": 0}}))
    assert operator.strays(context) == {stray: 1}
    context.connection.hset(f"crookline:job:{job.ref}:sent", "1", "1000.0")  # long ago
    sent: list[list[int]] = []
    upkeep.sweep(context, lambda _, numbers: sent.append(numbers), lambda _: None)
    assert sent == [[1]]
    web.connection.close()


def test_a_job_that_is_in_no_queue_is_said_to_be_lost(context: Context) -> None:
    job = accepted(context, ("a.xml", score("F")), ("b.xml", score("E")))
    (found,) = operator.unfinished(context)
    assert (found.ref, found.parts, found.lost) == (job.ref, 2, 2)
    upkeep.sweep(context, lambda *_: None, lambda _: None)
    figures = operator.figures(context)
    assert figures["unfinished_jobs"] == 1
    assert figures["oldest_unfinished_seconds"] >= 60
