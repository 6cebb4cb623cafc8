"""Work in a child process: owners in turn, true reasons, and nobody's time counted while others work."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Iterator

import pytest

from workers.fair_lane import FairLane, StillWorking


class Failed(Exception):
    """What this lane says of work that breaks."""


@pytest.fixture
def lane() -> Iterator[FairLane]:
    one = FairLane(5, Failed)
    one.ask("", "start", os.getpid)  # the child is there
    yield one
    one.close()


def rest(seconds: float) -> float:
    """Work that takes so long; gives when it ended."""
    time.sleep(seconds)
    return time.monotonic()


def die() -> None:
    """Work that ends its process."""
    os.kill(os.getpid(), signal.SIGKILL)


def refuse() -> None:
    """Work with an error of its own, of the kind that a time-out would have."""
    raise TimeoutError("no")


def test_owners_are_served_in_turn(lane: FairLane) -> None:
    ended: dict[str, float] = {}

    def ask(owner: str, number: int) -> None:
        ended[f"{owner}{number}"] = lane.ask(owner, (owner, number), rest, 0.05)

    threads = [threading.Thread(target=ask, args=("library", n)) for n in range(6)]
    for thread in threads:
        thread.start()
        time.sleep(0.005)
    late = threading.Thread(target=ask, args=("pit", 0))
    late.start()
    for thread in (*threads, late):
        thread.join()
    # One of the library's was at work, one may have been taken: then comes the other owner.
    assert sum(ended["pit0"] > when for when in ended.values()) <= 2


def test_who_asks_again_finds_the_same_work(lane: FairLane) -> None:
    with pytest.raises(StillWorking):
        lane.ask("pit", "slow", rest, 0.3, patience=0.01)
    with pytest.raises(StillWorking):
        lane.ask("pit", "slow", rest, 0.3, patience=0.01)
    assert lane.waiting() == 0
    assert lane.ask("pit", "slow", rest, 0.3)


def test_work_that_breaks_the_child_is_told_so_and_the_next_is_done(lane: FairLane) -> None:
    with pytest.raises(Failed, match="broke off"):
        lane.ask("pit", "die", die)
    assert lane.ask("pit", "rest", rest, 0)


def test_an_error_of_the_work_comes_through_as_it_is(lane: FairLane) -> None:
    with pytest.raises(TimeoutError, match="no"):
        lane.ask("pit", "refuse", refuse)


def test_the_time_counts_from_the_beginning_of_the_work() -> None:
    lane = FairLane(1.0, Failed)
    try:
        lane.ask("", "start", os.getpid)
        done: list[float] = []
        threads = [
            threading.Thread(target=lambda n=n: done.append(lane.ask("pit", n, rest, 0.4))) for n in range(5)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len(done) == 5  # the last one waited longer than the limit, and worked less
        with pytest.raises(Failed, match="given up after 1 seconds"):
            lane.ask("pit", "long", rest, 10)
    finally:
        lane.close()
