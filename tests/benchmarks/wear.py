"""Measures what is written to the card: `python -m tests.benchmarks.wear [FOLDER] [--minutes M]`.

Sixteen probes every 10 s, committed every 10 s, synced every 30 s, sealed every hour: a day of
them, at speed. Beside it a bare append of the same bytes with the same syncs, which cannot be
beaten, and one keyed table. FOLDER should be on a real disk: what is written there is counted by
the kernel (`/proc/self/io`). As root, the same once more on an ext4 of its own in a file behind a
loop device, where the file system's own writes count too.

With `--minutes` the collector's writing is done in real time on that ext4 instead, so that the
timers of the kernel (write-back, the file system's journal every 5 s) do what they do on a board;
`--mount lazytime` says with which options it is mounted.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from typing import Protocol

from collector.readings import Quantity, Reading, SeriesKey
from collector.sealer import Sealer
from collector.store.columns import Columns
from collector.store.entry import Row
from collector.store.journal import Journal
from tests.benchmarks.figures import Line, figure, say, written_bytes
from tests.benchmarks.peers import BareAppend, KeyedTable
from tests.collector.store.series import believable

PROBES = [SeriesKey(f"urn:dev:ow:28ff641f43b2c1{n:02x}", Quantity.TEMPERATURE) for n in range(16)]
EVERY_S = 10
SYNC_EVERY = 3
"""Commits."""
A_DAY = 8640
GOAL = 180.0
_IMAGE_MB = 512
_BEFORE = 800
"""Moments written at speed before real time begins: two hours and a bit, in which the journal has
been sealed and its write-ahead file has grown to the size it keeps."""
_SETTLES_S = 40.0
_SECTOR = 512

Account = Callable[[], int]
"""The bytes written so far."""


class Writer(Protocol):
    """Takes the readings of a moment, one of every probe."""

    def put(self, n: int, readings: Sequence[Reading]) -> None:
        """Commit them; `n` counts the moments."""
        ...

    def close(self) -> None:
        """Let go."""
        ...


class Ours:
    """Journal and archive as the collector has them."""

    def __init__(self, folder: Path, written: Account) -> None:
        self._now_s = 0.0
        self._written = written
        self.sealing = 0
        self._journal = Journal(folder / "journal.db", sync_seconds=30, monotonic=self._now)
        self._sealer = Sealer(self._journal, folder / "archive.db", 3600.0, monotonic=self._now)

    def put(self, n: int, readings: Sequence[Reading]) -> None:
        """See `Writer.put`."""
        self._now_s = float(EVERY_S * n)
        self._journal.commit(readings)
        if self._sealer.due():
            mark = self._written()
            self._sealer.seal()
            self.sealing += self._written() - mark

    def close(self) -> None:
        """See `Writer.close`."""
        self._sealer.close()
        self._journal.close()

    def _now(self) -> float:
        return self._now_s


class Appending:
    """See `BareAppend`."""

    def __init__(self, folder: Path, _written: Account) -> None:
        self._file = BareAppend(folder / "readings")

    def put(self, n: int, readings: Sequence[Reading]) -> None:
        """See `Writer.put`."""
        rows = [Row(place, one.at_ms, one.raw, 0) for place, one in enumerate(readings)]
        self._file.put(rows, synced=n % SYNC_EVERY == 0)

    def close(self) -> None:
        """See `Writer.close`."""
        self._file.close()


class Keyed:
    """See `KeyedTable`."""

    def __init__(self, folder: Path, _written: Account) -> None:
        self._table = KeyedTable(folder / "table.db")

    def put(self, n: int, readings: Sequence[Reading]) -> None:
        """See `Writer.put`."""
        rows = [(one.probe, one.at_ms, one.raw) for one in readings]
        self._table.put(rows, synced=n % SYNC_EVERY == 0)

    def close(self) -> None:
        """See `Writer.close`."""
        self._table.close()


WRITERS: dict[str, Callable[[Path, Account], Writer]] = {
    "ours": Ours,
    "a bare append with the same syncs": Appending,
    "one keyed table": Keyed,
}


def main() -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.wear")
    parser.add_argument("folder", nargs="?")
    parser.add_argument("--minutes", type=float, default=0.0)
    parser.add_argument("--mount", default="defaults", metavar="OPTIONS")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=given.folder) as folder:
        if given.minutes:
            say(in_real_time(Path(folder), round(given.minutes * 60 / EVERY_S), given.mount))
            return
        say(by_process(Path(folder)))
        if os.geteuid() == 0:
            say(by_device(Path(folder)))
        else:
            sys.stderr.write("not root: a loop device of its own is not made, nothing said of it\n")


def by_process(folder: Path) -> Line:
    """A day of each, by the account that the kernel keeps of this process."""
    written, sealing = {}, 0
    for name, make in WRITERS.items():
        (folder / name).mkdir()
        before = written_bytes()
        with closing(make(folder / name, written_bytes)) as writer:
            _write(writer, A_DAY)
            sealing = writer.sealing if isinstance(writer, Ours) else sealing
        written[name] = written_bytes() - before
    return _line("by the kernel's account of the process", written, A_DAY, sealing=sealing)


def by_device(folder: Path) -> Line:
    """A day of each, each on a fresh ext4 of its own: what reaches the device."""
    written = {}
    for name, make in WRITERS.items():
        with a_card(folder / f"{name}.image") as (mounted, account):
            before = account()
            with closing(make(mounted, account)) as writer:
                _write(writer, A_DAY)
            os.sync()
            written[name] = account() - before
    return _line("by a device with an ext4 of its own", written, A_DAY)


def in_real_time(folder: Path, moments: int, options: str) -> Line:
    """Ours and the bare append side by side on two ext4 of their own, a moment every 10 s."""
    names = ["ours", "a bare append with the same syncs"]
    written = {}
    with ExitStack() as stack:
        cards = {
            name: stack.enter_context(a_card(folder / f"{name}.image", options)) for name in names
        }
        writers = {name: WRITERS[name](*cards[name]) for name in names}
        days = _days()
        for n in range(_BEFORE):
            for writer in writers.values():
                writer.put(n, _moment(days, n))
        os.sync()
        time.sleep(_SETTLES_S)
        before = {name: account() for name, (_, account) in cards.items()}
        due_s = time.monotonic()
        for n in range(_BEFORE, _BEFORE + moments):
            for writer in writers.values():
                writer.put(n, _moment(days, n))
            due_s += EVERY_S
            time.sleep(max(0.0, due_s - time.monotonic()))
        os.sync()
        written = {name: account() - before[name] for name, (_, account) in cards.items()}
        for writer in writers.values():
            writer.close()
    minutes = round(moments * EVERY_S / 60, 1)
    how = f"in real time, {minutes} min, by a device with an ext4 of its own, mounted {options}"
    return _line(how, written, moments)


@contextmanager
def a_card(image: Path, options: str = "defaults") -> Iterator[tuple[Path, Account]]:
    """A fresh ext4 behind a loop device, mounted; and the account of what is written to it."""
    _call("truncate", "-s", f"{_IMAGE_MB}M", str(image))
    # Its tables are written at once: else the kernel goes on writing them for minutes.
    _call("mkfs.ext4", "-q", "-E", "lazy_itable_init=0,lazy_journal_init=0", str(image))
    device = _call("losetup", "--find", "--show", str(image))
    mounted = image.with_suffix(".mounted")
    mounted.mkdir()
    try:
        _call("mount", "-o", options, device, str(mounted))
        try:
            os.sync()
            yield mounted, lambda: _sectors(device) * _SECTOR
        finally:
            _call("umount", str(mounted))
    finally:
        _call("losetup", "--detach", device)


def _sectors(device: str) -> int:
    return int(Path(f"/sys/block/{Path(device).name}/stat").read_text("ascii").split()[6])


def _call(*command: str) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout.strip()


def _days() -> list[Columns]:
    return [believable(A_DAY, seed=n) for n in range(len(PROBES))]


def _write(writer: Writer, moments: int) -> None:
    days = _days()
    for n in range(moments):
        writer.put(n, _moment(days, n))


def _moment(days: Sequence[Columns], n: int) -> list[Reading]:
    rows = zip(PROBES, days, strict=True)
    return [Reading(k.probe, k.quantity, day.at_ms[n], day.raw[n]) for k, day in rows]


def _line(account: str, written: dict[str, int], moments: int, **parts: int) -> Line:
    count = moments * len(PROBES)
    each = {name: number / count for name, number in written.items()}
    ours = each.pop("ours")
    return figure(
        "bytes written to the card for a reading", ours, "bytes", goal=f"≤ {GOAL:g}", beside=each,
        account=account, **{name: round(number / count, 1) for name, number in parts.items()},
    )  # fmt: skip


if __name__ == "__main__":
    main()
