"""The choice of instruments is the cheapest there is."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotator.concert.choice import cheapest

INSTRUMENTS = st.shared(st.integers(1, 4), key="instruments")
COSTS = st.lists(
    INSTRUMENTS.flatmap(lambda count: st.lists(st.integers(0, 30), min_size=count, max_size=count)),
    min_size=0,
    max_size=6,
)


def cost_of(costs: list[list[int]], changes: list[int], row: tuple[int, ...]) -> int:
    total = sum(costs[place][k] for place, k in enumerate(row))
    return total + sum(changes[place] for place in range(1, len(row)) if row[place] != row[place - 1])


@given(COSTS, st.data())
def test_equal_to_trying_every_row(costs: list[list[int]], data: st.DataObject) -> None:
    changes = data.draw(st.lists(st.integers(0, 20), min_size=len(costs), max_size=len(costs)))
    rows = product(*(range(len(row)) for row in costs))
    # Of rows that cost the same: the lower number at the last place where they differ.
    best = min(rows, key=lambda row: (cost_of(costs, changes, row), row[::-1]))
    chosen, total = cheapest(costs, changes)
    assert total == cost_of(costs, changes, chosen) == cost_of(costs, changes, best)
    assert chosen == best


@given(COSTS)
def test_without_a_cost_of_changing_every_stretch_takes_its_own_best(costs: list[list[int]]) -> None:
    chosen, total = cheapest(costs, [0] * len(costs))
    assert total == sum(min(row) for row in costs)
    assert [row[k] for row, k in zip(costs, chosen, strict=True)] == [min(row) for row in costs]


def test_lengths_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="every instrument"):
        cheapest([[1, 2], [3]], [0, 0])
    with pytest.raises(ValueError, match="cost of changing"):
        cheapest([[1, 2]], [])
