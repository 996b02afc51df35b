"""The corrections in force while the collector runs: a new calibration holds within seconds.

The book's file is looked at every few seconds, and read anew only when it has changed. A book that
cannot be read costs no reading: what was known last goes on to hold, and the log says so once.
"""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Callable, Iterable
from pathlib import Path

from collector.calibration import Calibration
from collector.readings import Correction, SeriesKey
from config.errors import StoreFault
from config.settings import Probe

log = logging.getLogger("collector")

LOOK_EVERY_S = 5.0

_Stamp = tuple[tuple[int, int], ...]


class Corrections:
    """As `Calibration`, kept up with the book at `path`."""

    def __init__(
        self,
        probes: Iterable[Probe],
        path: Path,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._probes = tuple(probes)
        self._path = path
        self._monotonic = monotonic
        self._calibration = Calibration(self._probes)
        self._look_at_s = monotonic()
        self._read: _Stamp | None = None
        self._failing = False

    def of(self, key: SeriesKey) -> Correction:
        """The correction that holds for readings of this series from now on."""
        if self._monotonic() >= self._look_at_s:
            self._look_at_s = self._monotonic() + LOOK_EVERY_S
            self._keep_up()
        return self._calibration.of(key)

    def _keep_up(self) -> None:
        stamp = self._stamp()
        if stamp == self._read or not stamp:
            return
        from collector.book.book import Book  # noqa: PLC0415 — a home without a book pays nothing

        try:
            with Book(self._path, read_only=True) as book:
                self._calibration = Calibration(self._probes, book.calibrations())
        except (StoreFault, sqlite3.Error) as fault:
            if not self._failing:
                log.warning("%s; the calibrations known last go on to hold", fault)
            self._failing = True
            return
        self._read, self._failing = stamp, False

    def _stamp(self) -> _Stamp:
        """Time and size of the book and of what was written ahead of it; empty without a book."""
        found = []
        for path in (self._path, self._path.with_name(f"{self._path.name}-wal")):
            try:
                known = path.stat()
            except OSError:
                continue
            found.append((known.st_mtime_ns, known.st_size))
        return tuple(found)
