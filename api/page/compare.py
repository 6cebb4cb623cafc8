"""The players of a job side by side: the same files on their trumpets, flags and reach of each."""

from __future__ import annotations

from typing import Any

from annotator.fingering.profile import name_said
from annotator.registry.option_rows import OPTION
from api import access
from api.job_documents import job_now, name_of
from api.page.visitor import blueprint, instrument_name, render
from api.problems import Problem
from workers import notes


@blueprint.get("/jobs/<job_id>/compare")
def compare(job_id: str) -> Any:
    """A row for each file, a column for each player."""
    found = access.job(job_id)
    noted = notes.read(access.context().store, found.ref)
    document = job_now(found)
    trumpets = {
        part.player: (
            instrument_name(str(found.asked(part).get("instrument", OPTION["instrument"].default))),
            name_said(str(found.asked(part).get("profile", OPTION["profile"].default))),
        )
        for part in found.parts
        if part.player
    }
    if not trumpets:
        raise Problem(404, "no-such-part", "this job has one player; there is nothing to compare")
    rows: dict[str, dict[str, Any]] = {}
    for part in document["parts"]:
        if part.get("player") and part["n"] not in noted.parts:
            file = part["name"].removeprefix(f"{part['player']}/")
            rows.setdefault(file, {})[part["player"]] = part
    return render(
        "compare.html",
        job=document,
        name=noted.name or name_of(found),
        trumpets=trumpets,
        rows=rows,
    )
