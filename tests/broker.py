"""A real MQTT broker for the tests: mosquitto on a free port of loopback, keeping its state."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

HOST = "127.0.0.1"
_SHIPPED = Path(__file__).parents[1] / "config" / "deploy" / "mosquitto" / "warmcoil.conf"
_PATHS = os.pathsep.join((os.environ.get("PATH", os.defpath), "/usr/sbin", "/usr/local/sbin"))


def mosquitto_path() -> str | None:
    """Where mosquitto is installed; Debian puts it where only root looks."""
    return shutil.which("mosquitto", path=_PATHS)


def free_port() -> int:
    """A TCP port of loopback that nobody has just now."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        port: int = probe.getsockname()[1]
        return port


def shipped_bounds(*names: str) -> list[str]:
    """How much the broker takes and keeps, in the configuration that is shipped for boards."""
    lines = _SHIPPED.read_text("utf-8").splitlines()
    return [line for line in lines if line.startswith(names or "max_")]


class Mosquitto:
    """One broker with its folder. `stop` and `start` again keep sessions and messages."""

    def __init__(self, folder: Path, *more: str) -> None:
        self.port = free_port()
        self._config = folder / "mosquitto.conf"
        self._log = folder / "mosquitto.log"
        lines = [
            f"listener {self.port} {HOST}",
            "persistence true",
            f"persistence_location {folder}/",
            *(more or ("allow_anonymous true",)),
        ]
        if os.geteuid() == 0:
            lines.append("user root")  # else it becomes another user, who may not write here
        self._config.write_text("\n".join(lines) + "\n", encoding="utf-8")
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it listens."""
        program = mosquitto_path()
        assert program is not None
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [program, "-c", str(self._config)], stdout=log, stderr=log
            )
        until_s = time.monotonic() + 10
        while time.monotonic() < until_s and self._process.poll() is None:
            try:
                socket.create_connection((HOST, self.port), timeout=1).close()
            except OSError:
                time.sleep(0.02)
            else:
                return
        raise AssertionError(f"mosquitto does not listen: {self._log.read_text()}")

    def said(self, text: str) -> bool:
        """True when that is in its log."""
        return text in self._log.read_text("utf-8")

    def freeze(self) -> None:
        """SIGSTOP: its connections stay open, and it says and hears nothing."""
        self._signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """It goes on where it was."""
        self._signal(signal.SIGCONT)

    def _signal(self, number: signal.Signals) -> None:
        assert self._process is not None
        self._process.send_signal(number)

    def stop(self) -> None:
        """Stop it in order: it writes down what it keeps."""
        if self._process is not None:
            self._process.send_signal(signal.SIGTERM)
            self._process.wait(10)
            self._process = None


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """A running broker; the test is skipped where mosquitto is not installed."""
    if mosquitto_path() is None:
        pytest.skip("mosquitto is not installed (Debian package mosquitto)")
    folder = tmp_path / "broker"
    folder.mkdir()
    made = Mosquitto(folder, "allow_anonymous true", *shipped_bounds("max_queued_messages"))
    made.start()
    yield made
    made.stop()
