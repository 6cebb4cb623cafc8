"""``python -m tests.faults [--seed 1] [--tries 5] [--only WORD]``: the table of faults."""

from __future__ import annotations

import argparse
import sys

from tests.faults.inflicted import available
from tests.faults.runner import table, try_fault


def main() -> None:
    """Try every fault; exit status 1 when a part was lost, wrong, or failed with an untrue reason."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--tries", type=int, default=5)
    parser.add_argument("--only", default="")
    given = parser.parse_args()
    tallies = []
    for fault in available():
        if given.only in fault.name:
            tallies.append(try_fault(fault, given.seed, given.tries))
            print(tallies[-1].row(), flush=True)
    print(f"\nseed {given.seed}\n{table(tallies)}")
    sys.exit(any(tally.lost or tally.wrong or tally.true < tally.failed for tally in tallies))


if __name__ == "__main__":
    main()
