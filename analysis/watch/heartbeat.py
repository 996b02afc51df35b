"""`python -m analysis.watch.heartbeat --home DIR`: call the keeper's own address once, and end.

An outside service that hears nothing for a while tells the keeper: so the end of the whole board
is noticed, too. The address is a secret; it stands in a file, and is never logged.
"""

from __future__ import annotations

import argparse
import logging
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from analysis.watch.logs import log_to_stderr
from analysis.watch.states import Alarm, AlarmKey, Kind
from config.errors import BadSettings, WarmcoilError
from config.home import Home
from config.settings import load_settings

_TIMEOUT_SECONDS = 20.0
_LIMIT_SECONDS = 60
"""After this the process is ended by the kernel: a service can send its answer byte by byte."""
_MOST_BYTES = 4_096
_BLIND = (
    Kind.COLLECTOR_SILENT,
    Kind.NOT_WRITTEN,
    Kind.SEVERAL_SILENT,
    Kind.CLOCK_UNSURE,
)
"""While one of these stands, the watch sees nothing: silence is the right thing to send."""
_LOG = logging.getLogger(__name__)


class Heartbeat:
    """Beats every so often, as long as the watch judges readings. `tick` after each evaluation."""

    def __init__(
        self, folder: Path, every_seconds: float, monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        self._command = [sys.executable, "-m", "analysis.watch.heartbeat", "--home", str(folder)]
        self._every_s = every_seconds
        self._monotonic = monotonic
        self._due_s = -1e18
        self._process: subprocess.Popen[bytes] | None = None

    def tick(self, alarms: Mapping[AlarmKey, Alarm]) -> None:
        """Beat, when it is time and nothing hides the enclosures from the watch."""
        if self._process is not None and self._process.poll() is None:
            return
        now_s = self._monotonic()
        if now_s < self._due_s or blind(alarms):
            return
        self._due_s = now_s + self._every_s
        self._process = subprocess.Popen(  # noqa: S603  # our own module, by name
            self._command, stdin=subprocess.DEVNULL
        )

    def close(self) -> None:
        """Leave none behind."""
        if self._process is not None and self._process.poll() is None:
            self._process.kill()
        if self._process is not None:
            self._process.wait()


def blind(alarms: Mapping[AlarmKey, Alarm]) -> bool:
    """True while the watch knows that it sees nothing."""
    return any(alarm.standing and key.kind in _BLIND for key, alarm in alarms.items())


def address_of(home: Home) -> str | None:
    """The address of the settings' file; None without one. Raises BadSettings."""
    file = load_settings(home).watch.heartbeat_file
    if file is None:
        return None
    path = home.folder / file.expanduser()
    try:
        with path.open(encoding="utf-8") as opened:
            url = opened.read(_MOST_BYTES).strip()
    except (OSError, UnicodeDecodeError) as fault:
        raise BadSettings(f"watch.heartbeat_file {path}: cannot be read; no heartbeat") from fault
    if not url.startswith(("https://", "http://")) or len(url.split()) != 1:
        raise BadSettings(f"watch.heartbeat_file {path}: holds no http(s) address; no heartbeat")
    return url


def beat(url: str) -> str | None:
    """Call the address; None when it answered with success, else why not, without the address."""
    from http.client import HTTPException  # noqa: PLC0415  # heavy: not for the watch
    from urllib.error import HTTPError, URLError  # noqa: PLC0415
    from urllib.request import Request, urlopen  # noqa: PLC0415

    request = Request(url, headers={"User-Agent": "Warmcoil"})  # noqa: S310  # http(s) only
    try:
        with urlopen(request, timeout=_TIMEOUT_SECONDS):  # noqa: S310
            return None
    except HTTPError as fault:
        return f"the service answered {fault.code}"
    except (URLError, OSError, HTTPException, ValueError) as fault:
        return f"the service was not reached ({type(fault).__name__})"


def main(arguments: Sequence[str] | None = None) -> int:
    """The process; 0 when the service has heard."""
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    signal.alarm(_LIMIT_SECONDS)
    # The watch waits for its signals with these blocked, and a child inherits that.
    signal.pthread_sigmask(signal.SIG_UNBLOCK, (signal.SIGTERM, signal.SIGINT))
    parser = argparse.ArgumentParser(prog="python -m analysis.watch.heartbeat")
    parser.add_argument("--home", type=Path, required=True, metavar="DIR")
    given = parser.parse_args(arguments)
    log_to_stderr()
    try:
        url = address_of(Home(given.home))
    except WarmcoilError as fault:
        _LOG.error("%s", fault)
        return fault.exit_code
    why = beat(url) if url is not None else None
    if why is not None:
        _LOG.warning("heartbeat: %s", why)
    return 0 if why is None else 1


if __name__ == "__main__":
    sys.exit(main())
