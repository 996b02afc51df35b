"""Readings on their way in, by series, in arrays; what is more than a bound waits in a file.

So a file of any length is taken in one transaction within about the memory that its largest
series needs.
"""

from __future__ import annotations

import tempfile
from array import array
from pathlib import Path
from types import TracebackType
from typing import IO, Self

from collector.readings import SeriesKey

MOST_HELD = 4_000_000
"""Readings in memory: 64 MB. Policy: what a small board can spare."""
_BYTES = array("q").itemsize


class Gathered:
    """Times (UTC ms) and values of many series, each in the order in which they came.

    A context manager; the waiting file lies in `folder`, has no name and goes with the process.
    """

    def __init__(self, folder: Path, most_held: int = MOST_HELD) -> None:
        self._folder = folder
        self._most = most_held
        self._held = 0
        self._series: dict[SeriesKey, tuple[array[int], array[float]]] = {}
        self._waiting: dict[SeriesKey, list[tuple[int, int]]] = {}
        self._file: IO[bytes] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._file is not None:
            self._file.close()

    def keys(self) -> list[SeriesKey]:
        """The series there are, in the order in which they came."""
        return list(self._series)

    def of(self, key: SeriesKey) -> tuple[array[int], array[float]]:
        """The arrays that the next readings of a series are appended to; for good the same two."""
        return self._series.setdefault(key, (array("q"), array("d")))

    def came(self, count: int) -> None:
        """Say that `count` readings were appended; puts all aside when they are too many."""
        self._held += count
        if self._held > self._most:
            for key, (at_ms, raw) in self._series.items():
                self._put_aside(key, at_ms, raw)
            self._held = 0

    def whole(self, key: SeriesKey) -> tuple[array[int], array[float]]:
        """Everything of one series."""
        at_ms, raw = array("q"), array("d")
        for start, count in self._waiting.get(key, ()):
            file = self._waiting_file()
            file.seek(start)
            at_ms.frombytes(file.read(count * _BYTES))
            raw.frombytes(file.read(count * _BYTES))
        held_at_ms, held_raw = self._series[key]
        at_ms.extend(held_at_ms)
        raw.extend(held_raw)
        return at_ms, raw

    def _put_aside(self, key: SeriesKey, at_ms: array[int], raw: array[float]) -> None:
        if not at_ms:
            return
        file = self._waiting_file()
        start = file.seek(0, 2)
        self._waiting.setdefault(key, []).append((start, len(at_ms)))
        for column in (at_ms, raw):
            file.write(column.tobytes())
            del column[:]

    def _waiting_file(self) -> IO[bytes]:
        if self._file is None:
            self._file = tempfile.TemporaryFile(dir=self._folder)  # noqa: SIM115  # closed in __exit__
        return self._file
