"""`warmcoil run`: the processes of one home together in the foreground, each its own."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
from collections.abc import Sequence
from types import FrameType

from config.home import Home

MODULES = ("collector", "analysis.watch", "analysis.page")
_CHECK_SECONDS = 0.2
_END_SECONDS = 6.0


def run_together(home: Home, modules: Sequence[str] = MODULES) -> int:
    """Run the modules until SIGINT or SIGTERM, or until one of them ends by itself.

    When one ends, the others are ended too and its exit code is returned: a desk should see that
    a part has died. Under systemd each is a unit of its own and is started again instead.
    """
    stop = threading.Event()

    def _stop(_signal: int, _frame: FrameType | None) -> None:
        stop.set()

    before = {s: signal.signal(s, _stop) for s in (signal.SIGINT, signal.SIGTERM)}
    children = [_start(home, module) for module in modules]
    try:
        while not stop.wait(_CHECK_SECONDS):
            ended: list[int] = [c.returncode for c in children if c.poll() is not None]
            if ended:
                return max(abs(code) for code in ended)
        return 0
    finally:
        _end(children)
        for number, handler in before.items():
            signal.signal(number, handler)


def _start(home: Home, module: str) -> subprocess.Popen[bytes]:
    # Their own session: a Ctrl-C reaches us alone, and we end them in order.
    return subprocess.Popen(  # noqa: S603  # our own modules, by name
        [sys.executable, "-m", module, "--home", str(home.folder)], start_new_session=True
    )


def _end(children: Sequence[subprocess.Popen[bytes]]) -> None:
    for child in children:
        if child.poll() is None:
            child.terminate()
    for child in children:
        try:
            child.wait(timeout=_END_SECONDS)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()
