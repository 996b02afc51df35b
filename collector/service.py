"""What a long-running process owes the machine: one of its kind per home, a log, signs of life."""

from __future__ import annotations

import fcntl
import logging
import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Protocol

from config.errors import NotSo, StoreFault


def log_to_stderr(name: str) -> None:
    """One line each, from INFO up, with the process's name. Under systemd the journal adds the time
    itself."""
    when = "" if os.environ.get("JOURNAL_STREAM") else "%(asctime)s "
    logging.basicConfig(
        stream=sys.stderr,
        level=logging.INFO,
        format=f"{when}{name}: %(message)s",
        datefmt="%Y-%m-%dT%H:%M:%S%z",
    )


@contextmanager
def only_one(path: Path, what: str) -> Iterator[None]:
    """Hold the lock file `path`. Raises NotSo when another process holds it, StoreFault when the
    disk does not let anyone write.

    The lock goes with the process, however it ends.
    """
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    except OSError as fault:
        raise StoreFault(f"{path}: {fault.strerror}") from fault
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = os.read(descriptor, 32).decode("ascii", "replace").strip() or "unknown"
            raise NotSo(
                f"{path.parent}: another {what} (process {holder}) is running on this home; "
                "stop it first"
            ) from None
        os.ftruncate(descriptor, 0)
        os.write(descriptor, f"{os.getpid()}\n".encode())
        yield
    finally:
        os.close(descriptor)


class _Notifier(Protocol):
    def notify(self, state: str) -> None: ...


class SignsOfLife:
    """Tells systemd (sd_notify) that the process is ready, alive, and stopping.

    Outside of systemd it does nothing. A watchdog asks for a sign within WATCHDOG_USEC; it is
    given at half of that, by the loop that does the work and by no other thread.
    """

    def __init__(self, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._monotonic = monotonic
        self._notifier: _Notifier | None = None
        if os.environ.get("NOTIFY_SOCKET"):
            import sdnotify  # noqa: PLC0415 — only where somebody listens

            self._notifier = sdnotify.SystemdNotifier()
        watchdog_us = os.environ.get("WATCHDOG_USEC", "")
        self._every_s = int(watchdog_us) / 2e6 if watchdog_us.isdecimal() else None
        self._due_s = monotonic()

    def ready(self) -> None:
        """Everything is up."""
        self._say("READY=1")

    def alive(self) -> None:
        """The work goes on."""
        if self._every_s is not None and self._monotonic() >= self._due_s:
            self._due_s = self._monotonic() + self._every_s
            self._say("WATCHDOG=1")

    def stopping(self) -> None:
        """The end has begun."""
        self._say("STOPPING=1")

    def _say(self, text: str) -> None:
        if self._notifier is not None:
            self._notifier.notify(text)
