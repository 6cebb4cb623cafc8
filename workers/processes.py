"""Processes that a command starts and takes down again, whatever happens to the command itself."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Mapping, Sequence
from contextlib import nullcontext, suppress
from pathlib import Path

LEASH = Path(__file__).with_name("leash.py")


def start(
    command: Sequence[str], log: Path | None = None, environment: Mapping[str, str] | None = None
) -> subprocess.Popen[bytes]:
    """Start a process; its output is appended to a file, or goes to standard error.

    It is in a session of its own, so that a Ctrl-C in the terminal reaches the starter alone, and on
    Linux it ends when the starter is killed. Call from a thread that lives as long as the process
    should: the kernel watches the thread.
    """
    with log.open("ab") if log else nullcontext(sys.stderr) as stream:
        return subprocess.Popen(
            [sys.executable, "-I", "-S", str(LEASH), str(os.getpid()), *command],
            stdin=subprocess.DEVNULL,
            stdout=stream,
            stderr=subprocess.STDOUT,
            env={**os.environ, **(environment or {})},
            start_new_session=True,
        )


def stop(process: subprocess.Popen[bytes], patience: float) -> bool:
    """End a process: ask, and after ``patience`` seconds insist. False when it had to be insisted on."""
    if process.poll() is not None:
        return True
    process.terminate()
    try:
        process.wait(patience)
    except subprocess.TimeoutExpired:
        with suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        return False
    return True


def tail(log: Path, lines: int = 12) -> str:
    """The last lines of a process's output, to say why it ended."""
    try:
        return "\n".join(log.read_text(encoding="utf-8", errors="replace").splitlines()[-lines:])
    except OSError:
        return ""
