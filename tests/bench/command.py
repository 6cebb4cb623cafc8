"""The command from start to finish, beside ``import music21``: whole processes, wall time.

python -m tests.bench.command
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from tests.bench.clockwork import in_turn, ratio
from tests.bench.scores import DEMO


def process(*words: str) -> Callable[[], object]:
    return lambda: subprocess.run(words, check=True, stdout=subprocess.DEVNULL)


def main() -> None:
    study = str(DEMO / "06_locksman_study_trumpet_in_Bb.musicxml")
    command = str(Path(sys.executable).with_name("crookline"))
    with tempfile.TemporaryDirectory() as folder:
        found = in_turn(
            {
                "crookline annotate, one étude": process(
                    command, "annotate", study, "-o", f"{folder}/out.xml"
                ),
                "import music21": process(sys.executable, "-c", "import music21"),
                "crookline --version": process(command, "--version"),
                "python -c pass": process(sys.executable, "-c", "pass"),
            },
            rounds=9,
            clock=time.perf_counter,
        )
    print("\nThe command (whole processes, wall time)")
    for name, timing in found.items():
        print(f"  {name:30} {timing}")
    share = ratio(found["crookline annotate, one étude"], found["import music21"])
    print(f"  annotate / import music21      {share:.2f}  (goal: under 0.35)")


if __name__ == "__main__":
    main()
