"""`python -m analysis.demo.leash PARENT COMMAND ...`: become that command, die with the parent.

The kernel sends the process SIGTERM when its parent has gone (prctl, PR_SET_PDEATHSIG), also when
the parent was killed and could not end its children itself. Set before the command begins, because
setting it from the parent between fork and exec is not safe with threads.
"""

from __future__ import annotations

import ctypes
import os
import signal
import sys

_PR_SET_PDEATHSIG = 1


def main() -> None:
    """Set the death signal, then replace this process by the command."""
    parent, *command = sys.argv[1:]
    if ctypes.CDLL(None, use_errno=True).prctl(_PR_SET_PDEATHSIG, signal.SIGTERM) != 0:
        raise OSError(ctypes.get_errno(), "prctl(PR_SET_PDEATHSIG) failed")
    if os.getppid() != int(parent):
        sys.exit(0)  # it went before we could ask
    os.execv(command[0], command)  # noqa: S606  # the demo's own commands


if __name__ == "__main__":
    main()
