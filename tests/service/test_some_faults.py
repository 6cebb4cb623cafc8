"""A few of the faults that ``make faults`` tries at length, by a fixed seed."""

from __future__ import annotations

import pytest

from tests.faults.inflicted import NAMED
from tests.faults.runner import try_fault


@pytest.mark.parametrize("name", ["the worker killed", "the clock jumps"])
def test_a_fault_costs_no_part(name: str) -> None:
    tally = try_fault(NAMED[name], seed=7, tries=1, parts=12)
    assert (tally.lost, tally.wrong, tally.failed) == (0, 0, 0), tally
