"""Processes that a command starts and takes down again, whatever happens to the command itself."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from contextlib import nullcontext, suppress
from pathlib import Path

from workers import logs

LEASH = Path(__file__).with_name("leash.py")
FIRST_WAIT, LONGEST_WAIT = 0.5, 30.0
log = logs.logger(__name__)


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


class KeptRunning:
    """A process that is started anew whenever it ends, until it is stopped."""

    def __init__(
        self,
        what: str,
        command: Sequence[str],
        *,
        log: Path | None,
        environment: Mapping[str, str] | None = None,
        patience: float,
    ) -> None:
        self.what = what
        self.log = log
        self.process: subprocess.Popen[bytes] | None = None
        self._command, self._environment, self._patience = command, environment, patience
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._keep_running, name=what, daemon=True)

    def start(self) -> None:
        """Start the process; it need not be ready yet."""
        self._thread.start()

    def stop(self) -> None:
        """Ask the process to end, wait for as long as it may take, and see that it has ended."""
        self._ending.set()
        if self._thread.is_alive():
            self._thread.join(self._patience + 30)

    def _keep_running(self) -> None:
        # The process is started and ended in this thread: on Linux it lives no longer than the thread.
        wait = FIRST_WAIT
        while not self._ending.is_set():
            started = time.monotonic()
            self.process = start(self._command, self.log, self._environment)
            while self.process.poll() is None and not self._ending.wait(0.2):
                pass
            if self._ending.is_set():
                break
            wait = FIRST_WAIT if time.monotonic() - started > 60 else min(wait * 2, LONGEST_WAIT)
            said = tail(self.log, 3) if self.log else None
            log.error(f"{self.what} ended, starting another", code=self.process.returncode, said=said)
            self._ending.wait(wait)
        if self.process is not None:
            stop(self.process, self._patience)


def tail(log: Path, lines: int = 12) -> str:
    """The last lines of a process's output, to say why it ended."""
    try:
        return "\n".join(log.read_text(encoding="utf-8", errors="replace").splitlines()[-lines:])
    except OSError:
        return ""
