"""Alerts and dashboard speak of figures there are, and the runbook of every alert."""

from __future__ import annotations

import json
import re
from pathlib import Path

import httpx
import yaml

from tests.service.conftest import ROOT

FOLDER = ROOT / "workers" / "operations"
# They come into being with what they count.
COUNTED = {"parts", "stage_seconds", "swept", "outages", "broken", "requests", "request_seconds"}
SOMETIMES = {"sweep_age_seconds", "unfinished_jobs", "oldest_unfinished_seconds"}


def expressions() -> list[str]:
    """What is asked of the figures, in both files."""
    rules = yaml.safe_load((FOLDER / "alerts.yml").read_text())["groups"][0]["rules"]
    panels = json.loads((FOLDER / "dashboard.json").read_text())["panels"]
    return [rule["expr"] for rule in rules] + [panel["targets"][0]["expr"] for panel in panels]


def test_every_figure_asked_for_is_told(client: httpx.Client) -> None:
    told = set(re.findall(r"^# TYPE crookline_(\w+)", client.get("/metrics").text, re.MULTILINE))
    told = {name.removesuffix("_total") for name in told} | SOMETIMES
    for expression in expressions():
        for name in re.findall(r"crookline_(\w+)", expression):
            base = re.sub(r"_(total|bucket|sum|count)$", "", name)
            assert base in told | COUNTED, name


def test_the_runbook_knows_every_alert() -> None:
    rules = yaml.safe_load((FOLDER / "alerts.yml").read_text())["groups"][0]["rules"]
    book = Path(ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for rule in rules:
        assert f"`{rule['alert']}`" in book, rule["alert"]
