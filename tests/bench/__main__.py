"""``make bench``: every measurement, or those named (``python -m tests.bench annotating command``)."""

from __future__ import annotations

import os
import platform
import sys
from importlib import import_module

SECTIONS = ("annotating", "command", "planner", "engraving", "service", "growth")


def main() -> None:
    print(
        f"{platform.machine()}, {os.cpu_count()} cores, {platform.system()}, "
        f"Python {platform.python_version()}"
    )
    for name in sys.argv[1:] or SECTIONS:
        sys.argv = [name]
        import_module(f"tests.bench.{name}").main()


if __name__ == "__main__":
    main()
