"""``make bench``: every measurement, or those named (``python -m tests.bench annotating command``)."""

from __future__ import annotations

import os
import platform
import sys
from importlib import import_module

SECTIONS = ("annotating", "command", "planner")


def main() -> None:
    print(
        f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, {platform.system()}"
    )
    for name in sys.argv[1:] or SECTIONS:
        sys.argv = [name]
        import_module(f"tests.bench.{name}").main()


if __name__ == "__main__":
    main()
