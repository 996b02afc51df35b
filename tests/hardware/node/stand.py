"""A node on the test stand: MicroPython with simulated sensors, as a process; and a time server."""

from __future__ import annotations

import json
import os
import socket
import struct
import subprocess
import threading
import time
from pathlib import Path

from tests.broker import HOST
from tests.micropython import ROOT, micropython_path

BOARD = "urn:dev:mac:02005efffe00533a"
ROMS = ("28a1b2c3d4e5f6", "28b2c3d4e5f607")
WARM, COOL = "urn:dev:ow:28a1b2c3d4e5f6ac", "urn:dev:ow:28b2c3d4e5f60756"
AIR = f"{BOARD}_sht-0000002a"
SHT_AT = "0x44"


class TimeServer:
    """Answers SNTP questions (RFC 4330) with this machine's time."""

    def __init__(self) -> None:
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.bind((HOST, 0))
        self.port: int = self._socket.getsockname()[1]
        self._thread = threading.Thread(target=self._answer)
        self._thread.start()

    def close(self) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as last:
            last.sendto(b"", (HOST, self.port))
        self._thread.join(10)
        self._socket.close()

    def _answer(self) -> None:
        while True:
            asked, who = self._socket.recvfrom(64)
            if not asked:
                return
            seconds, rest = divmod(time.time() + 2_208_988_800, 1)
            now = struct.pack(">II", int(seconds), int(rest * 2**32))
            head = b"\x24\x02\x00\xec" + bytes(12)
            self._socket.sendto(head + now + asked[40:48] + now + now, who)


class NameServer:
    """Knows one name (RFC 1035); says nothing at all while it is `silent`."""

    def __init__(self, name: str, address: str) -> None:
        self.silent = True
        self.asked = 0
        self._name = b"".join(bytes([len(p)]) + p.encode() for p in name.split(".")) + b"\0"
        self._address = socket.inet_aton(address)
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.bind((HOST, 0))
        self.where = f"{HOST}:{self._socket.getsockname()[1]}"
        self._thread = threading.Thread(target=self._answer)
        self._thread.start()

    def close(self) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as last:
            last.sendto(b"", self._socket.getsockname())
        self._thread.join(10)
        self._socket.close()

    def _answer(self) -> None:
        while True:
            asked, who = self._socket.recvfrom(512)
            if not asked:
                return
            self.asked += 1
            if self.silent:
                continue
            known = asked[12:-4] == self._name
            head = asked[:2] + (b"\x81\x80" if known else b"\x81\x83")
            record = b"\xc0\x0c\0\1\0\1\0\0\0\x3c\0\4" + self._address if known else b""
            self._socket.sendto(
                head + b"\0\1\0" + bytes([known]) + bytes(4) + asked[12:] + record, who
            )


class NodeProcess:
    """The node. `start` and `kill` it as often as you like; its sensors begin anew each time."""

    def __init__(self, folder: Path, settings: dict[str, object], **world: object) -> None:
        folder.mkdir()
        self._settings, self._world = folder / "node.json", folder / "world.json"
        self._commands, self.taken = folder / "commands", folder / "taken"
        self.log = folder / "node.log"
        self.taken.touch()
        sensors = {"one_wire_pins": [4], "i2c": {"sda": 1, "scl": 2}, "sht": {SHT_AT: "SHT4x"}}
        self._settings.write_text(json.dumps({"name": "shelf", **sensors, **settings}))
        told = {
            "every_ms": 200,
            "commands": str(self._commands),
            "taken": str(self.taken),
            "ds18b20": ROMS,
            "sht": {SHT_AT: 42},
            **world,
        }
        self._told = told
        self._process: subprocess.Popen[bytes] | None = None

    def start(self, out: int | None = None, celsius: float = 21.0) -> None:
        """Power on. `out`: the file that its serial line is; its DS18B20 climb from `celsius`."""
        self._world.write_text(json.dumps({**self._told, "celsius": celsius}))
        self._commands.write_text("")
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                [micropython_path(), "-m", "hardware.simulated.board", self._settings, self._world],
                stdout=log if out is None else out,
                stderr=log,
                cwd=ROOT,
                env={name: os.environ[name] for name in ("PATH", "HOME") if name in os.environ},
            )

    def tell(self, command: str) -> None:
        """Let something befall it."""
        with self._commands.open("a") as file:
            file.write(command + "\n")

    def kill(self) -> None:
        """Power off, without a warning."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(10)
            self._process = None

    def ended(self, patience_s: float) -> int:
        """Its exit code, when it ends by itself."""
        assert self._process is not None
        return self._process.wait(patience_s)

    def said(self, text: str) -> bool:
        """True when its log has this."""
        return text in self.log.read_text()

    def values(self, probe: str) -> list[float]:
        """All temperatures that the firmware took of a DS18B20, as written down by its sensor."""
        lines = [line.split() for line in self.taken.read_text().splitlines()]
        return [int(value) / 10_000 for name, _, value in lines if name == probe]


def over_mqtt(port: int, time_server: TimeServer, **more: object) -> dict[str, object]:
    """Settings of a node that speaks to a broker at `port`."""
    return {
        "speak": "mqtt",
        "wifi": {"name": "home"},
        "mqtt": {"host": HOST, "port": port},
        "time_server": f"{HOST}:{time_server.port}",
        **more,
    }
