"""A home for the tests of the watch: book, care profile and readings as other processes write
them, and the watch itself as a process."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterable, Mapping
from importlib import resources
from pathlib import Path
from typing import Self

from collector.book.book import Book
from collector.book.records import Animal, Enclosure, Placement, Record, Stay, Zone
from collector.readings import Flag, Quantity, Reading
from collector.store.journal import Journal
from config.home import Home

HOUR_MS = 3_600_000
MINUTE_MS = 60_000


def wall_ms() -> int:
    return time.time_ns() // 1_000_000


def write_care(home: Home, **alarm_minutes: float) -> None:
    """The shipped care profile with other delays, as the home's own."""
    text = (resources.files("config") / "care" / "boa-constrictor.toml").read_text("utf-8")
    for name, value in alarm_minutes.items():
        text, changed = re.subn(
            rf"(\[alarm\.{name}\]\nvalue = )[0-9.]+", rf"\g<1>{value}", text, count=1
        )
        assert changed == 1, name
    (home.folder / "care").mkdir(exist_ok=True)
    (home.folder / "care" / "boa-constrictor.toml").write_text(text, "utf-8")


def write_settings(home: Home, urls: Iterable[str] = (), every_seconds: float = 0.2) -> None:
    listed = ", ".join(f'"{url}"' for url in urls)
    home.settings.write_text(
        f'time_zone = "Europe/Lisbon"\n[watch]\nevery_seconds = {every_seconds}\n'
        f"notify = [{listed}]\n",
        "utf-8",
    )


class Stage:
    """A home with one enclosure, Larch; its warm-side probe is "warm-1"."""

    def __init__(self, folder: Path, since_ms: int) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.home = Home(folder)
        write_settings(self.home)
        self.enter(
            Enclosure("Larch", room="back room"),
            Animal("Tove"),
            Stay("Tove", "Larch", since_ms),
            Placement("warm-1", "Larch", Zone.WARM_SIDE, since_ms),
        )
        self.journal = Journal(self.home.journal)

    def enter(self, *records: Record) -> None:
        """Write in the record book."""
        with Book(self.home.book) as book:
            for record in records:
                book.put(record)

    def take_away(self, *records: Record) -> None:
        """Take out of the record book."""
        with Book(self.home.book) as book:
            for record in records:
                book.remove(record)

    def commit(
        self, *rows: tuple[int, float], probe: str = "warm-1", flags: Flag = Flag.NONE
    ) -> None:
        """Commit temperatures, (ms, °C), as the collector does."""
        self.journal.commit(
            [Reading(probe, Quantity.TEMPERATURE, at, value, flags=flags) for at, value in rows]
        )

    def close(self) -> None:
        self.journal.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class Feed:
    """Commits the temperature of each probe every 0.1 s, until closed; None: silent."""

    def __init__(self, stage: Stage, **values: float | None) -> None:
        self.values: dict[str, float | None] = {
            name.replace("_", "-"): value for name, value in values.items()
        }
        self._stage = stage
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.wait(0.1):
            for probe, value in self.values.items():
                if value is not None:
                    self._stage.commit((wall_ms(), value), probe=probe)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()


class WatchProcess:
    """`python -m analysis.watch` over a home; its log is in the file `watch.log`."""

    def __init__(self, home: Home, environment: Mapping[str, str] | None = None) -> None:
        self.home = home
        self.log = home.folder / "watch.log"
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "analysis.watch", "--home", str(home.folder)],
                stderr=log,
                stdout=log,
                env={**os.environ, **(environment or {})},
            )

    @property
    def pid(self) -> int:
        return self._process.pid

    def log_text(self) -> str:
        return self.log.read_text("utf-8")

    def wait_to_say(self, words: str, timeout_s: float = 15.0) -> None:
        deadline = time.monotonic() + timeout_s
        while words not in self.log_text():
            assert time.monotonic() < deadline, self.log_text()
            assert self._process.poll() is None, self.log_text()
            time.sleep(0.02)

    def alive(self) -> bool:
        return self._process.poll() is None

    def kill(self) -> None:
        """SIGKILL."""
        self._process.kill()
        self._process.wait(10)

    def end(self) -> tuple[int, float]:
        """SIGTERM; the exit code, and how many seconds it took."""
        begin = time.monotonic()
        self._process.send_signal(signal.SIGTERM)
        return self._process.wait(10), time.monotonic() - begin

    def wait(self, timeout_s: float = 15.0) -> int:
        return self._process.wait(timeout_s)

    def resident_mb(self) -> float:
        """Resident memory in MB (10^6 bytes), as the kernel counts it."""
        status = Path(f"/proc/{self.pid}/status").read_text("ascii")
        (line,) = [line for line in status.splitlines() if line.startswith("VmRSS:")]
        return int(line.split()[1]) * 1024 / 1e6

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self.alive():
            self.kill()
