"""What the jobs with a process of their own have in common: arguments, limit, and what they say."""

from __future__ import annotations

import argparse
import json
import os
import signal
import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

from analysis.watch.locks import OnlyOne
from config.errors import NotSo, WarmcoilError
from config.home import Home

_POLITE = 10


@dataclass(frozen=True, slots=True)
class Told:
    """A job's message."""

    title: str
    lines: tuple[str, ...]


def run_job(name: str, job: Callable[[Home, int, int], Told | None], limit_seconds: int) -> None:
    """Run `job(home, due_ms, now_ms)` and end the process: 0, or the fault's own code.

    Polite to what runs beside it, and ended by the kernel after the limit whatever it hangs on.
    """
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    signal.alarm(limit_seconds)
    # The watch waits for its signals with these blocked, and a child inherits that.
    signal.pthread_sigmask(signal.SIG_UNBLOCK, (signal.SIGTERM, signal.SIGINT))
    os.nice(_POLITE)
    parser = argparse.ArgumentParser(prog=f"python -m {name}")
    parser.add_argument("--home", type=Path, required=True, metavar="DIR")
    parser.add_argument("--due", type=int, required=True, metavar="MS", help="the moment, UTC ms")
    parser.add_argument("--now", type=int, required=True, metavar="MS", help="now, UTC ms")
    given = parser.parse_args()
    try:
        told = _alone(Home(given.home), job, given.due, given.now)
    except WarmcoilError as fault:
        print(fault, file=sys.stderr)  # noqa: T201  # one line, which the watch passes on
        sys.exit(fault.exit_code)
    print(json.dumps(asdict(told) if told is not None else {}))  # noqa: T201  # for the watch
    sys.exit(0)


def _alone(
    home: Home, job: Callable[[Home, int, int], Told | None], due_ms: int, now_ms: int
) -> Told | None:
    lock = OnlyOne(home.must_exist().alarms.with_name("jobs.lock"))
    if not lock.take():
        raise NotSo("a job of an earlier watch is still at work")
    try:
        return job(home, due_ms, now_ms)
    finally:
        lock.release()
