"""What every upload is put through: taken in, kept, and given back in an archive that is unpacked."""

from __future__ import annotations

import io
import tempfile
import time
import zipfile
from pathlib import Path

import annotator
from annotator.errors import CrooklineError
from tests.fuzz.trial import bounded
from tests.fuzz.uploads import Upload
from tests.unit import odd_files
from workers import packs
from workers.archive import Archive
from workers.intake import Intake, take_in
from workers.jobs import Job, Outcome, Part, Reason, new_id
from workers.settings import Settings
from workers.status import Status
from workers.store import Store
from workers.stored import job_from_json, job_to_json

SETTINGS = Settings(max_file=2_000_000, max_unpacked=5_000_000, max_parts=60)
_SUMMARY = annotator.annotate(odd_files.PART).report["summary"]
_MARKED = packs.stored(b"<score-partwise/>")


def taken(upload: Upload) -> str:
    """Put an upload through everything; gives ``taken`` or ``refused``. Raises what must not happen."""
    with bounded(sum(len(name) + len(data) for name, data in upload)):
        try:
            intake = take_in(upload, SETTINGS)
        except CrooklineError as refusal:
            return _refused(refusal)
        with tempfile.TemporaryDirectory() as folder:
            _kept(intake, Path(folder))
        return "taken"


def _refused(refusal: CrooklineError) -> str:
    assert str(refusal), "no refusal a person would read"
    return "refused"


def _kept(intake: Intake, folder: Path) -> None:
    store = Store(str(folder / "store"))
    parts = tuple(part for part, _ in intake.parts)
    job = Job("local", new_id(time.time()), time.time(), {}, parts, tuple(intake.skipped))
    assert len(parts) <= SETTINGS.max_parts
    assert sum(part.size for part in parts) <= SETTINGS.max_unpacked + sum(
        len(data) for _, data in intake.parts if len(data) <= SETTINGS.max_file
    )
    assert job_from_json(job_to_json(job), job.ref) == job, "kept, and read otherwise"
    store.accept(job, intake.parts)
    for part, data in intake.parts:
        assert store.input(job, part) == data, "not the bytes that were sent"
        if part.kind == "mxl" and part.refused is None:
            try:
                annotator.annotate(data, annotator.Options(), part.name)
            except CrooklineError as refusal:
                _refused(refusal)
    outcomes = store.put_pack(job, [packs.Kept(_outcome(part), _results(part)) for part in parts])
    archive = Archive(store, job, Status("partly", {outcome.n: outcome for outcome in outcomes}))
    _unpacked(archive.read())


def _outcome(part: Part) -> Outcome:
    reason: Reason | None = part.refused
    state, summary = ("failed", {}) if reason else ("done", _SUMMARY)
    return Outcome(part.n, state, time.time(), reason=reason, summary=summary)


def _results(part: Part) -> dict[str, packs.Stored]:
    return {} if part.refused else {"annotated": _MARKED, "report": _MARKED}


def _unpacked(data: bytes) -> None:
    """Every file of the archive becomes one of its own below the folder, on every common system."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert archive.testzip() is None
        names = archive.namelist()
        assert len({name.casefold() for name in names}) == len(names), "two files of one name"
        for name in names:
            assert not name.startswith("/"), name
            assert not {"..", ".", ""} & set(name.split("/")), name
            assert "\\" not in name, name
            assert ":" not in name, name
        folders = {
            "/".join(name.split("/")[:n]).casefold() for name in names for n in range(1, 1 + name.count("/"))
        }
        clash = folders & {name.casefold() for name in names}
        assert not clash, f"a file and a folder of one name: {clash}"
