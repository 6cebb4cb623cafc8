"""The processes that these tests start run the code the tests stand beside, whatever is installed."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.service.conftest import ROOT, sabotaged, this_checkout


def test_processes_run_this_checkout(tmp_path: Path) -> None:
    code = "import annotator, api, workers; print(annotator.__file__, api.__file__, workers.__file__)"
    for environment in (this_checkout(), this_checkout() | sabotaged(tmp_path)):
        done = subprocess.run(
            [sys.executable, "-c", code],
            cwd=tmp_path,
            env=environment,
            capture_output=True,
            text=True,
            check=True,
        )
        assert all(Path(name).is_relative_to(ROOT) for name in done.stdout.split())
