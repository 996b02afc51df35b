"""A real InfluxDB for the tests: influxd 1.8 on a free port of loopback, in a folder of its own."""

from __future__ import annotations

import atexit
import os
import shutil
import signal
import subprocess
import tempfile
import time
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import urllib3

from config.settings import Archive
from tests.broker import HOST, free_port

PROGRAM = Path(__file__).parents[1] / ".tools" / "bin" / "influxd"
"""What `make influxd` builds."""

USER, PASSWORD = "keeper", "right-horse"
TOKEN = f"{USER}:{PASSWORD}"
"""How InfluxDB 1.8 takes a user and a password where 2.x takes a token."""
_PATIENCE_S = 120.0
"""It starts with five seconds of work, on a machine that has more to do."""
HOW = "make influxd (it needs a Go: apt-get install --no-install-recommends golang-go)"


class Influxd:
    """One server with its folder. `stop` or `kill`, and `start` again keeps what it has."""

    def __init__(
        self, folder: Path, *, auth: bool = False, more: Mapping[str, str] | None = None
    ) -> None:
        self.port = free_port()
        self.url = f"http://{HOST}:{self.port}"
        self._folder = folder
        self._log = folder / "influxd.log"
        self._auth = auth
        self._more = dict(more or {})
        self._process: subprocess.Popen[bytes] | None = None
        self._http = urllib3.PoolManager(retries=False, timeout=10.0)

    def start(self) -> None:
        """Start it and wait until it answers."""
        settings = {
            "HTTP_FLUX_ENABLED": "true",
            "HTTP_LOG_ENABLED": "false",
            "REPORTING_DISABLED": "true",
            "MONITOR_STORE_ENABLED": "false",
            "HTTP_BIND_ADDRESS": f"{HOST}:{self.port}",
            "HTTP_AUTH_ENABLED": str(self._auth).lower(),
            "BIND_ADDRESS": f"{HOST}:{free_port()}",
            "META_DIR": str(self._folder / "meta"),
            "DATA_DIR": str(self._folder / "data"),
            "DATA_WAL_DIR": str(self._folder / "wal"),
            **self._more,
        }
        environment = {f"INFLUXDB_{name}": value for name, value in settings.items()}
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                # An empty file of settings: one that the machine has for a server of its own is
                # not read.
                [str(PROGRAM), "run", "-config", os.devnull],
                stdout=log,
                stderr=log,
                env={**os.environ, **environment},
            )
        until_s = time.monotonic() + _PATIENCE_S
        while time.monotonic() < until_s and self._process.poll() is None:
            try:
                self._http.request("GET", f"{self.url}/ping")
            except urllib3.exceptions.HTTPError:
                time.sleep(0.05)
            else:
                return
        raise AssertionError(f"influxd does not answer: {self._log.read_text()}")

    def stop(self) -> None:
        """Stop it in order."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """SIGKILL: no time for a last word."""
        self._end(signal.SIGKILL)

    def ask(self, statement: str) -> Any:
        """What the server answers to a statement of its administration. Raises AssertionError."""
        answer = self._http.request(
            "POST",
            f"{self.url}/query",
            fields={"q": statement},
            encode_multipart=False,
            headers=urllib3.make_headers(basic_auth=TOKEN),
        )
        document = answer.json()
        assert answer.status == 200, document
        assert "error" not in document["results"][0], document
        return document["results"][0].get("series", [])

    def bytes_kept(self) -> int:
        """What its files of readings take on the disk."""
        return sum(file.stat().st_size for file in (self._folder / "data").rglob("*.tsm"))

    def _end(self, number: int) -> None:
        if self._process is not None:
            self._process.send_signal(number)
            self._process.wait(20)
            self._process = None


def require_influxd() -> None:
    """Skip where the server is not built; where CI=true that is a failure."""
    if PROGRAM.exists():
        return
    if os.environ.get("CI") == "true":
        pytest.fail(f"influxd is not built: {HOW}")
    pytest.skip(f"influxd is not built: {HOW}")


@contextmanager
def started(folder: Path, *, auth: bool = False) -> Iterator[Influxd]:
    """A running server; with `auth` only USER may use it. Stopped in the end."""
    require_influxd()
    folder.mkdir()
    made = Influxd(folder, auth=auth)
    made.start()
    try:
        if auth:
            made.ask(f"CREATE USER {USER} WITH PASSWORD '{PASSWORD}' WITH ALL PRIVILEGES")
        yield made
    finally:
        made.stop()


@contextmanager
def database(server: Influxd, keeps: str = "INF") -> Iterator[Archive]:
    """A database of its own on a server, and the settings that name it; dropped in the end."""
    name = f"home_{uuid.uuid4().hex[:12]}"
    server.ask(f"CREATE DATABASE {name} WITH DURATION {keeps} NAME raw")
    try:
        yield Archive(kind="influxdb", url=server.url, bucket=f"{name}/raw")
    finally:
        server.ask(f"DROP DATABASE {name}")


_THE_SERVER: list[Influxd] = []


def the_server() -> Influxd:
    """One server for all tests of a process, that nobody stops: it starts with seconds of work."""
    if not _THE_SERVER:
        require_influxd()
        folder = Path(tempfile.mkdtemp(prefix="influxd-"))
        made = Influxd(folder)
        atexit.register(shutil.rmtree, folder, ignore_errors=True)
        atexit.register(made.kill)  # before its folder goes
        made.start()
        _THE_SERVER.append(made)
    return _THE_SERVER[0]
