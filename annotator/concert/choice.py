"""The cheapest row of choices, one for each stretch of the concert, where changing costs something too.

Exact: a dynamic programme over the stretches in order (equal to trying every row: tested).
"""

from __future__ import annotations

from collections.abc import Sequence


def cheapest(costs: Sequence[Sequence[int]], changes: Sequence[int]) -> tuple[tuple[int, ...], int]:
    """For each stretch which of its choices to take, and what that costs in all.

    ``costs[i][k]``: stretch i on instrument k; every stretch has the same number of instruments.
    ``changes[i]``: what it costs to take another instrument for stretch i than for the one before
    (``changes[0]`` is not used). Whole numbers, so that sums are exact. Of equal rows the one that takes
    the lower number at the last stretch where they differ. O(stretches · instruments).
    Raises ValueError when the lengths do not fit.
    """
    if len(changes) != len(costs) or len({len(row) for row in costs}) > 1 or any(not row for row in costs):
        raise ValueError("each stretch wants a cost for every instrument and a cost of changing")
    if not costs:
        return (), 0
    reached = list(costs[0])
    back: list[list[int]] = []
    for row, change in zip(costs[1:], changes[1:], strict=True):
        # Staying is cheapest from the same instrument, changing from the cheapest of all.
        best = min(range(len(reached)), key=reached.__getitem__)
        came = []
        following = []
        for k, own in enumerate(row):
            stay, move = (reached[k], k), (reached[best] + (change if best != k else 0), best)
            cost, source = min(stay, move)
            came.append(source)
            following.append(cost + own)
        back.append(came)
        reached = following
    total = min(reached)
    chosen = [reached.index(total)]
    for came in reversed(back):
        chosen.append(came[chosen[-1]])
    chosen.reverse()
    return tuple(chosen), total
