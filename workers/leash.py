"""Becomes another program that ends when its starter does: ``python leash.py STARTER_PID PROGRAM ARGUMENT…``.

On Linux the kernel is asked to (prctl(2), PR_SET_PDEATHSIG; it is kept over execve(2)). Run as a
program of its own because little is safe between fork and exec in a process with threads.
"""

import ctypes
import os
import signal
import sys

PR_SET_PDEATHSIG = 1


def main(starter: int, command: list[str]) -> None:
    """Never returns."""
    if sys.platform.startswith("linux"):
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
        if os.getppid() != starter:  # it ended before the kernel was asked
            sys.exit(1)
    os.execvp(command[0], command)


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2:])
