"""A CSV file (UTF-8, header row, RFC 4180) as rows, with the line they end on; faults gathered."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from collector.exchange.fields import shown
from config.errors import BadRows, Unusable

Progress = Callable[[int, int], None]
"""Called with the bytes read and the bytes there are."""

_NAMED = 5
_ROWS_A_STEP = 20_000


class Faults:
    """The bad rows of a file: the first few named, the rest counted."""

    def __init__(self, source: Path) -> None:
        self._source = source
        self._named: list[str] = []
        self._more = 0

    def add(self, line: int, field: str, why: str) -> None:
        """One more bad row."""
        if len(self._named) < _NAMED:
            self._named.append(f"line {line}, {field}: {why}")
        else:
            self._more += 1

    def raise_any(self) -> None:
        """Raise BadRows when there is one."""
        if self._named:
            raise BadRows(str(self._source), self._named, self._more)


class Sheet:
    """An open CSV file: its rows as lists in the order of `columns`."""

    def __init__(
        self, path: Path, stream: IO[str], size: int, columns: Sequence[str], progress: Progress
    ) -> None:
        self._path = path
        self._stream = stream
        self._size = size
        self._progress = progress
        self._rows = csv.reader(stream, strict=True)
        self.faults = Faults(path)
        with _telling(path):
            header = [name.strip() for name in next(self._rows, [])]
        self._order = _order(path, header, columns)
        self._width = len(header)

    def __iter__(self) -> Iterator[tuple[int, list[str]]]:
        """(physical line the row ends on, its fields in the order of the columns)."""
        rows, order, width = self._rows, self._order, self._width
        plain = order == list(range(width))
        with _telling(self._path, lambda: rows.line_num):
            for count, row in enumerate(rows, 1):
                if count % _ROWS_A_STEP == 0:
                    self._progress(self._stream.buffer.tell(), self._size)  # type: ignore[attr-defined]
                if len(row) != width:
                    if row:  # an empty line is no row
                        why = f"has {len(row)} fields, the header has {width}"
                        self.faults.add(rows.line_num, "the row", why)
                    continue
                yield rows.line_num, row if plain else [row[i] for i in order]
        self._progress(self._size, self._size)


@contextmanager
def open_sheet(path: Path, columns: Sequence[str], progress: Progress) -> Iterator[Sheet]:
    """Open a CSV file that has just these columns, in any order. Raises Unusable, one line."""
    try:
        stream = path.open(encoding="utf-8-sig", newline="")
    except OSError as fault:
        raise Unusable(f"{path}: cannot be read: {fault.strerror}") from fault
    with stream:
        try:
            size = path.stat().st_size
            sheet = Sheet(path, stream, size, columns, progress)
        except IsADirectoryError as fault:
            raise Unusable(f"{path}: is a folder, not a CSV file") from fault
        yield sheet


def _order(path: Path, header: Sequence[str], columns: Sequence[str]) -> list[int]:
    """Where each of the columns stands in the header. Raises Unusable naming what is amiss."""
    if not any(header):
        raise Unusable(f"{path}: line 1: no header row; it should be: {','.join(columns)}")
    missing = [name for name in columns if name not in header]
    unknown = [name for name in header if name not in columns]
    twice = sorted({name for name in header if header.count(name) > 1})
    for what, names in (("no column", missing), ("unknown column", unknown), ("twice", twice)):
        if names:
            listed = ", ".join(shown(name) for name in names[:_NAMED])
            raise Unusable(
                f"{path}: line 1: {what} {listed}; the header should be: {','.join(columns)}"
            )
    return [header.index(name) for name in columns]


@contextmanager
def _telling(path: Path, line: Callable[[], int] = lambda: 0) -> Iterator[None]:
    """Turn what is no text or no CSV into one line."""
    try:
        yield
    except UnicodeDecodeError as fault:
        raise Unusable(
            f"{path}: after line {line()}: not UTF-8 text; save it as CSV in UTF-8"
        ) from fault
    except csv.Error as fault:
        raise Unusable(f"{path}: line {line() + 1}: not CSV: {fault}") from fault
