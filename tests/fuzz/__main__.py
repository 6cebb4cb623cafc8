"""``python -m tests.fuzz``: so many files, each changed at random, and what became of them.

    python -m tests.fuzz --count 200000 --seed 1
    python -m tests.fuzz --uploads --count 5000 --seed 1

A file that ends in a fault is kept in ``tests/fuzz/kept``, where every run of the tests tries it again. Of
uploads (names and archives) the number and the seed are told, which make the same one again.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from hashlib import sha256
from multiprocessing import Pool

from tests.fuzz.mutate import mutant
from tests.fuzz.seeds import KEPT
from tests.fuzz.trial import TooSlow, tried
from tests.fuzz.upload_trial import taken
from tests.fuzz.uploads import upload

_PIECE = 500
_TOLD = 10_000


def main() -> int:
    """Exit status 0 when every file ended in a result or a refusal."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=200_000)
    parser.add_argument("--start", type=int, default=0, help="the number of the first file")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=os.cpu_count())
    parser.add_argument("--uploads", action="store_true", help="names and archives instead of scores")
    asked = parser.parse_args()
    ends = range(asked.start, asked.start + asked.count, _PIECE)
    pieces = [(start, min(start + _PIECE, asked.start + asked.count), asked.seed) for start in ends]
    trial, good = (_uploads, {"taken", "refused"}) if asked.uploads else (_piece, {"marked", "refused"})
    outcomes: Counter[str] = Counter()
    begun = time.monotonic()
    with Pool(asked.processes, maxtasksperchild=20) as pool:
        for done in pool.imap_unordered(trial, pieces):
            outcomes += done
            if outcomes.total() % _TOLD == 0:
                print(f"{outcomes.total():,} files so far", file=sys.stderr, flush=True)
    words = ", ".join(f"{count:,} {what}" for what, count in sorted(outcomes.items()))
    print(f"{outcomes.total():,} files in {time.monotonic() - begun:,.0f} s (seed {asked.seed}): {words}")
    return 1 if set(outcomes) - good else 0


def _piece(piece: tuple[int, int, int]) -> Counter[str]:
    start, end, seed = piece
    outcomes: Counter[str] = Counter()
    for number in range(start, end):
        data = mutant(number, seed)
        try:
            outcomes[tried(data, number)] += 1
        except (Exception, TooSlow) as fault:
            outcomes[f"{type(fault).__name__}: {str(fault)[:80]}"] += 1
            KEPT.mkdir(exist_ok=True)
            (KEPT / f"{sha256(data).hexdigest()[:16]}-{number}").write_bytes(data)
            print(f"{number}: {type(fault).__name__}: {str(fault)[:200]}", file=sys.stderr, flush=True)
    return outcomes


def _uploads(piece: tuple[int, int, int]) -> Counter[str]:
    start, end, seed = piece
    outcomes: Counter[str] = Counter()
    for number in range(start, end):
        try:
            outcomes[taken(upload(number, seed))] += 1
        except (Exception, TooSlow) as fault:
            outcomes[f"{type(fault).__name__}: {str(fault)[:80]}"] += 1
            print(
                f"{number} of seed {seed}: {type(fault).__name__}: {str(fault)[:200]}",
                file=sys.stderr,
                flush=True,
            )
    return outcomes


if __name__ == "__main__":
    sys.exit(main())
