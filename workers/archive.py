"""Everything of a job in one .zip, laid out as it came in."""

from __future__ import annotations

import json
import zipfile
from dataclasses import asdict
from datetime import UTC, datetime
from hashlib import sha256
from io import BytesIO
from typing import Any

from annotator.registry.product_rows import PRODUCT
from workers import summary_page
from workers.jobs import Job, Outcome, Part
from workers.names import safe
from workers.status import Status
from workers.store import Store

NAME = "output/archive.zip"
DIGEST = "output/archive.sha256"


def ensure(store: Store, job: Job, status: Status) -> str:
    """Make the archive unless it is there; gives its SHA-256."""
    digest = store.get(job.ref, DIGEST)
    if digest is not None:
        return digest.decode()
    data = build(store, job, status)
    made = sha256(data).hexdigest()
    store.put(job.ref, NAME, data)
    store.put(job.ref, DIGEST, made.encode())
    return made


def build(store: Store, job: Job, status: Status) -> bytes:
    """The archive of a job that has ended; the same bytes whenever it is made."""
    finished = max(outcome.finished for outcome in status.outcomes.values())
    when = datetime.fromtimestamp(finished, UTC).timetuple()[:6]
    buffer = BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:

        def add(name: str, data: bytes, *, packed: bool = False) -> None:
            info = zipfile.ZipInfo(name, when)
            info.external_attr = 0o644 << 16
            info.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
            archive.writestr(info, data)

        figures = summary(job, status)
        add("summary.json", json.dumps(figures, ensure_ascii=False, indent=2).encode())
        add("summary.html", summary_page.page(figures))
        for part in job.parts:
            outcome = status.outcomes[part.n]
            if outcome.state == "done":
                annotated = store.get(job.ref, f"{part.output}/annotated.{part.kind}")
                report = store.get(job.ref, f"{part.output}/report.json")
                if annotated is not None and report is not None:
                    name = safe(part.written_name) + (PRODUCT["annotated"].archive or "")
                    add(name, annotated, packed=part.kind == "mxl")
                    add(beside(part, PRODUCT["report"].archive), report)
            elif outcome.reason is not None:
                add(beside(part, ".failed.txt"), f"{part.name}: {outcome.reason.message}\n".encode())
    return buffer.getvalue()


def beside(part: Part, suffix: str | None) -> str:
    """A name beside a part's own; with the part's whole name in it, for `a.xml` may lie beside `a.mxl`."""
    return safe(part.name) + (suffix or "")


def summary(job: Job, status: Status) -> dict[str, Any]:
    """The job in figures: what was asked, what became of each part."""
    return {
        "schema": "crookline.summary/1",
        "job": job.id,
        "state": status.state,
        "created": datetime.fromtimestamp(job.created, UTC).isoformat(timespec="seconds"),
        "options": dict(job.options),
        "counts": status.counts(job),
        "parts": [_line(part, status.outcomes[part.n]) for part in job.parts],
        "skipped": [{"name": name, "reason": reason} for name, reason in job.skipped],
    }


def _line(part: Part, outcome: Outcome) -> dict[str, Any]:
    return {
        "n": part.n,
        "name": part.name,
        "state": outcome.state,
        "cached": outcome.cached,
        "seconds": outcome.took,
        "reason": asdict(outcome.reason) if outcome.reason else None,
        "summary": dict(outcome.summary),
    }
