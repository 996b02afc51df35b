"""The collector as a process of its own, over a home made for the test."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from collector.readings import Reading
from collector.store.reader import Reader
from config.home import Home
from tests.benchmarks.figures import resident_mb

FOR_EVER_MS = 10**15
_ROOT = Path(__file__).parents[1]


def make_home(folder: Path, settings: str) -> Home:
    """A home with these settings."""
    home = Home(folder)
    folder.mkdir(parents=True, exist_ok=True)
    home.settings.write_text(settings, encoding="utf-8")
    return home


def stored(home: Home) -> list[Reading]:
    """Every reading that any process can see now."""
    with Reader(home.journal, home.archive) as reader:
        return [
            one
            for key in reader.series()
            for one in reader.columns(key, 0, FOR_EVER_MS).readings(key)
        ]


class CollectorProcess:
    """`python -m collector` over `home`; its log is in the file `log`."""

    def __init__(self, home: Home, **environment: str) -> None:
        self.home = home
        self.log = home.folder / "collector.log"
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "collector", "--home", str(home.folder)],
                stderr=log,
                stdout=log,
                env={**os.environ, **environment},
                cwd=_ROOT,
            )

    @property
    def pid(self) -> int:
        return self._process.pid

    def said(self, text: str) -> bool:
        """True when its log has this text."""
        return text in self.log.read_text(encoding="utf-8")

    def alive(self) -> bool:
        return self._process.poll() is None

    def resident_mb(self) -> float:
        """Resident memory in MB (10^6 bytes), as the kernel counts it."""
        return resident_mb(self.pid)

    def state(self) -> dict[str, Any]:
        """What it wrote about itself."""
        document: dict[str, Any] = json.loads(self.home.collector_state.read_text())
        return document

    def wait(self, timeout_s: float = 20.0) -> int:
        """Its exit code, once it has ended by itself."""
        return self._process.wait(timeout_s)

    def kill(self) -> None:
        """SIGKILL: no time for a last word."""
        self._process.kill()
        self._process.wait(10)

    def stop(self, number: int = signal.SIGTERM) -> tuple[int, float]:
        """Stop it; its exit code, and the seconds that it took."""
        began_s = time.monotonic()
        self._process.send_signal(number)
        try:
            code = self._process.wait(20)
        except subprocess.TimeoutExpired:
            self.kill()
            raise
        return code, time.monotonic() - began_s
