"""The page as a process of its own, over a home made for the test."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from collections.abc import Mapping
from http.client import HTTPConnection
from pathlib import Path
from typing import Self

from config.home import Home

_LISTENING = re.compile(r"listening on (http://(\S+):(\d+))")


class PageProcess:
    """`python -m analysis.page`, which `warmcoil page` becomes; its log is in the file `page.log`.

    It listens on a free port once this returns.
    """

    def __init__(self, home: Home, environment: Mapping[str, str] | None = None) -> None:
        self.home = home
        self.log = home.folder / "page.log"
        already = len(self.log_text())
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "analysis.page", "--home", str(home.folder), "--port", "0"],
                stdout=log, stderr=log, env={**os.environ, **(environment or {})},
            )  # fmt: skip
        self.address, self.host, self.port = self._listening(already)

    def _listening(self, already: int, timeout_s: float = 120.0) -> tuple[str, str, int]:
        until_s = time.monotonic() + timeout_s
        while True:
            ended = self.process.poll() is not None
            found = _LISTENING.search(self.log_text()[already:])
            if found is not None:
                return found[1], found[2], int(found[3])
            if ended or time.monotonic() > until_s:
                self.process.kill()
                self.process.wait(10)
                raise AssertionError(f"the page never listened: {self.log_text()}")
            time.sleep(0.02)

    def log_text(self) -> str:
        """Everything it said."""
        return self.log.read_text("utf-8") if self.log.exists() else ""

    def status(self, path: str = "/healthz") -> int:
        """The status with which it answers."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=10)
        try:
            connection.request("GET", path)
            answer = connection.getresponse()
            answer.read()
            return answer.status
        finally:
            connection.close()

    def resident_mb(self) -> float:
        """Resident memory in MB (10^6 bytes), as the kernel counts it."""
        status = Path(f"/proc/{self.process.pid}/status").read_text("ascii")
        (line,) = [line for line in status.splitlines() if line.startswith("VmRSS:")]
        return int(line.split()[1]) * 1024 / 1e6

    def kill(self) -> None:
        """SIGKILL: no time for a last word."""
        self.process.kill()
        self.process.wait(10)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.kill()
