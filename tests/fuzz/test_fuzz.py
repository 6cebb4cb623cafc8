"""Two thousand changed files and two hundred uploads, the same each time, and what once ended in a fault.

``make fuzz`` tries two hundred thousand.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.fuzz.mutate import mutant
from tests.fuzz.seeds import KEPT
from tests.fuzz.trial import tried
from tests.fuzz.upload_trial import taken
from tests.fuzz.uploads import upload

COUNT, PIECE, SEED = 2_000, 250, 2026
UPLOADS = 200


@pytest.mark.parametrize("start", range(0, COUNT, PIECE))
def test_a_changed_file_ends_in_a_result_or_a_refusal(start: int) -> None:
    faults = []
    outcomes = set()
    for number in range(start, start + PIECE):
        try:
            outcomes.add(tried(mutant(number, SEED), number))
        except Exception as fault:
            faults.append(f"{number}: {type(fault).__name__}: {fault}")
    assert not faults
    # Neither all refused nor all taken: the changes reach what is behind the reader.
    assert outcomes == {"marked", "refused"}


def test_an_upload_is_refused_or_comes_back_whole() -> None:
    faults = []
    outcomes = set()
    for number in range(UPLOADS):
        try:
            outcomes.add(taken(upload(number, SEED)))
        except Exception as fault:
            faults.append(f"{number}: {type(fault).__name__}: {fault}")
    assert not faults
    assert outcomes == {"taken", "refused"}


@pytest.mark.parametrize("path", sorted(KEPT.glob("[0-9a-z]*")), ids=lambda path: path.name)
def test_what_once_ended_in_a_fault_does_no_more(path: Path) -> None:
    tried(path.read_bytes(), int(path.name.rpartition("-")[2]))
