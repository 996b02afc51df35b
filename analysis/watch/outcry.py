"""`python -m analysis.watch.outcry --home DIR WHY`: say that the watch cannot work, and end.

Alarms and their messages are kept in a file before they are told. On a card that is full or can
only be read nothing can be kept, so nothing would be told: this one message is sent all the same,
to every address, at most once a day. That it was sent is noted in memory, not on the card.
"""

from __future__ import annotations

import argparse
import hashlib
import logging
import os
import signal
import subprocess
import sys
import time
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from analysis.watch.addresses import read_addresses
from analysis.watch.logs import log_to_stderr
from analysis.watch.outbox import Delivery, Urgency
from collector.clock import wall_clock_ms
from config.errors import StoreFault, WarmcoilError
from config.home import Home
from config.settings import load_settings

ONCE_IN_S = 86_400
MOST_PATIENCE_S = 120.0
"""A fault that lasts so long does not pass by itself."""
_LEAST_PATIENCE_S = 10.0
TIME_LIMIT_SECONDS = 60
"""After this the process is ended by the kernel: the watch waits for it."""
_LOG = logging.getLogger(__name__)


class Outcry:
    """Hears how the evaluations fare, and starts the process that cries out."""

    def __init__(
        self, home: Home, every_s: float, monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        self._home = home
        self._patience_s = min(MOST_PATIENCE_S, max(_LEAST_PATIENCE_S, 20 * every_s))
        self._monotonic = monotonic
        self._since_s: float | None = None

    @contextmanager
    def listening(self) -> Iterator[None]:
        """An evaluation: where the store fails it, and that has lasted, it is told."""
        try:
            yield
        except StoreFault as fault:
            self._failed(fault)
            raise
        self._since_s = None

    def _failed(self, why: StoreFault) -> None:
        now_s = self._monotonic()
        if self._since_s is None:
            self._since_s = now_s
        elif now_s - self._since_s >= self._patience_s:
            self._since_s = now_s
            cry(self._home, why)


def cry(home: Home, why: StoreFault) -> None:
    """Send the message, unless it was sent within a day. Waits for its end, which has a limit."""
    if not _to_be_told(home):
        return
    _LOG.error("the watch cannot work; that is told without being kept")
    command = [sys.executable, "-m", "analysis.watch.outcry", "--home", str(home.folder), str(why)]
    subprocess.run(command, stdin=subprocess.DEVNULL, check=False)  # noqa: S603  # our own module


def _to_be_told(home: Home) -> bool:
    """Take the turn of this day. Without a place to note it none is taken: a message every few
    minutes, for days, would be read by nobody."""
    digest = hashlib.blake2b(str(home.folder.resolve()).encode(), digest_size=8).hexdigest()
    places = (os.environ.get("RUNTIME_DIRECTORY"), "/dev/shm")  # noqa: S108  # memory, and no link
    for place in filter(None, places):
        path = Path(place) / f"warmcoil-outcry-{os.getuid()}-{digest}"
        try:
            file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, 0o600)
        except OSError:
            continue  # the next place
        try:
            told = os.fstat(file)
            if told.st_size and time.time() - told.st_mtime < ONCE_IN_S:
                return False
            os.pwrite(file, b"told\n", 0)
        finally:
            os.close(file)
        return True
    _LOG.error("there is no place in memory to note that it was told, so it is not")
    return False


def send(home: Home, why: str) -> int:
    """Send it to every address; how many took it. Raises WarmcoilError."""
    from analysis.watch.sender import quieten, sender_of  # noqa: PLC0415  # apprise is heavy

    quieten()
    taken = 0
    for address in read_addresses(home, load_settings(home))[0]:
        sender = sender_of(address)
        if sender is None:
            continue
        fault = sender.send(_message(address.digest, why))
        if fault is None:
            taken += 1
        else:
            _LOG.warning("not told to %s: %s", address.label, fault)
    return taken


def _message(address: str, why: str) -> Delivery:
    now_ms = wall_clock_ms()
    body = (
        f"{why}\nUntil that is mended no alarm can be kept, so none will be told, and new readings "
        "may not be written.\nFirst: see that the monitor's card has room and can be written; "
        "then start it anew. Look at the enclosures yourself meanwhile.\n"
        "This is said once a day at most."
    )
    title = "Warmcoil's watch cannot work"
    return Delivery(
        number=0, address=address, reference=f"outcry-{now_ms}", urgency=Urgency.HIGH,
        title=title, body=body, attempts=0, key=None, enclosure="", trial=False, created_ms=now_ms,
    )  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> int:
    """The process: exit code 0 when somebody was told."""
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    signal.alarm(TIME_LIMIT_SECONDS)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, (signal.SIGTERM, signal.SIGINT))
    parser = argparse.ArgumentParser(prog="python -m analysis.watch.outcry")
    parser.add_argument("--home", type=Path, required=True, metavar="DIR")
    parser.add_argument("why")
    given = parser.parse_args(arguments)
    log_to_stderr()
    warnings.simplefilter("ignore")  # a library's warning may name a host
    try:
        return 0 if send(Home(given.home), given.why) else 1
    except WarmcoilError as fault:
        _LOG.error("%s", fault)
        return fault.exit_code


if __name__ == "__main__":
    sys.exit(main())
