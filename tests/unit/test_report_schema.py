"""Reports are as their JSON Schema says, judged by another's validator (the PyPI package jsonschema)."""

from __future__ import annotations

from pathlib import Path

import jsonschema  # type: ignore[import-untyped]
import pytest

import annotator
from annotator.registry.mark_rows import MARK_NAMES
from annotator.report_schema import report_schema
from tests.unit.tunes import DEMO


def test_the_schema_is_one() -> None:
    jsonschema.Draft202012Validator.check_schema(report_schema())


@pytest.mark.parametrize("path", DEMO, ids=[path.name[:2] for path in DEMO])
def test_the_report_of_a_demo_part_is_as_the_schema_says(path: Path) -> None:
    options = annotator.Options(instrument="bb-trumpet", mark=MARK_NAMES, crook="infer", second_best=True)
    report = annotator.annotate(path.read_bytes(), options, path.name).report
    jsonschema.validate(report, report_schema(), jsonschema.Draft202012Validator)


def test_a_wrong_report_is_refused() -> None:
    report = annotator.annotate(DEMO[0].read_bytes()).report
    report["parts"][0]["lines"][0]["notes"][0]["written"] = "H4"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(report, report_schema(), jsonschema.Draft202012Validator)
