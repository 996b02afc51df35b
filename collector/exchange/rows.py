"""A CSV file (UTF-8, header row, RFC 4180) as rows, with the line each begins on; faults gathered.

Rows come in steps of some hundreds, so that a room that is in a hurry can take whole columns.
"""

from __future__ import annotations

import csv
import io
import re
import stat
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from itertools import chain, islice
from pathlib import Path
from typing import BinaryIO, Protocol

from collector.exchange.fields import shown
from collector.exchange.text import NotTextError, text_blocks
from config.errors import BadRows, Unusable

Progress = Callable[[int, int], None]
"""Called with what is done and what there is to do, in the same measure."""

_NAMED = 5
_ROWS_A_STEP = 500
"""Few enough that they stay in the processor's cache: measured, a third faster than 5,000."""
_LONGEST_FIELD = csv.field_size_limit()
_LINE_END = re.compile(r"\r\n|\r|\n")


class _CsvRows(Protocol):
    """What csv.reader gives."""

    @property
    def line_num(self) -> int: ...

    def __iter__(self) -> Iterator[list[str]]: ...

    def __next__(self) -> list[str]: ...


class Faults:
    """The bad rows of a file: the first few named, the rest counted."""

    def __init__(self, source: Path) -> None:
        self._source = source
        self._named: list[tuple[int, str]] = []
        self._more = 0

    def add(self, line: int, field: str, why: str) -> None:
        """One more bad row."""
        self._named.append((line, f"line {line}, {field}: {why}"))
        if len(self._named) > _NAMED:
            self._named.sort(key=lambda one: one[0])
            self._named.pop()
            self._more += 1

    def raise_any(self) -> None:
        """Raise BadRows when there is one."""
        if self._named:
            named = sorted(self._named, key=lambda one: one[0])
            raise BadRows(str(self._source), [text for _, text in named], self._more)


@dataclass(slots=True)
class Step:
    """Some hundred rows as they stand in the file; `before` is the last line before them."""

    rows: list[list[str]]
    before: int
    last: int

    def lines(self) -> Iterator[int]:
        """The physical line that each row begins on, counted from 1."""
        if self.last - self.before == len(self.rows):
            yield from range(self.before + 1, self.last + 1)
            return
        line = self.before + 1
        for row in self.rows:
            yield line
            line += 1 + sum(len(_LINE_END.findall(text)) for text in row)


@dataclass(slots=True)
class Sheet:
    """An open CSV file that has the columns asked for. Iterating over it gives
    (line, fields in the order of the columns); rows of another width go to the faults. Columns
    that were left out are empty: `padding`.
    """

    path: Path
    order: list[int]
    width: int
    steps: Iterator[Step]
    padding: list[str] = field(default_factory=list)
    faults: Faults = field(init=False)

    def __post_init__(self) -> None:
        self.faults = Faults(self.path)

    def __iter__(self) -> Iterator[tuple[int, list[str]]]:
        for step in self.steps:
            yield from self.rows(step)

    def rows(self, step: Step) -> Iterator[tuple[int, list[str]]]:
        """The good rows of one step. Rows without a single entry are none."""
        for line, row in zip(step.lines(), step.rows, strict=True):
            if not any(row):
                continue
            if len(row) != self.width:
                why = f"has {len(row)} fields, the header has {self.width}"
                self.faults.add(line, "the row", why)
                continue
            yield line, [row[i] for i in self.order] + self.padding


@contextmanager
def open_sheet(
    path: Path, columns: Sequence[str], progress: Progress, *, may_lack: int = 0
) -> Iterator[Sheet]:
    """Open a CSV file that has just these columns, in any order. Raises Unusable, one line.

    The last `may_lack` columns may be left out, then they are empty.
    The steps raise Unusable too, as soon as they come to what is not CSV.
    """
    try:
        found = path.stat()  # before it is opened: a fifo would let wait, and a device never end
        if not stat.S_ISREG(found.st_mode):
            what = "a folder" if stat.S_ISDIR(found.st_mode) else "a device or a pipe"
            raise Unusable(f"{path}: is {what}, not a CSV file")
        stream, size = path.open("rb"), found.st_size
    except OSError as fault:
        raise Unusable(f"{path}: cannot be read: {fault.strerror}") from fault
    with stream:
        steps = _steps(path, stream, size, progress)
        first = next(steps, None)
        header = [name.strip() for name in first.rows[0]] if first is not None else []
        there = [
            name
            for number, name in enumerate(columns)
            if name in header or number < len(columns) - may_lack
        ]
        order = _order(path, header, there, columns)
        padding = [""] * (len(columns) - len(there))
        yield Sheet(path, order, len(header), steps, padding)


def _steps(path: Path, stream: BinaryIO, size: int, progress: Progress) -> Iterator[Step]:
    """The header as a step of its own, then all other rows."""
    done = 0

    def _read(count: int) -> None:
        nonlocal done
        done += count
        progress(min(done, size), size)

    rows = _reader(stream, _read)
    before = 0
    for count in chain((1,), iter(lambda: _ROWS_A_STEP, 0)):
        try:
            taken = list(islice(rows, count))
        except NotTextError as fault:
            raise Unusable(f"{path}: line {fault.line}: {fault}; nothing was imported") from fault
        except csv.Error as fault:
            line = _broken_row(stream)
            raise Unusable(
                f"{path}: line {line}: {_not_csv(fault)}; nothing was imported"
            ) from fault
        if not taken:
            return
        yield Step(taken, before, rows.line_num)
        before = rows.line_num


def _reader(stream: BinaryIO, read: Callable[[int], None]) -> _CsvRows:
    blocks = text_blocks(stream, read)
    lines = chain.from_iterable(io.StringIO(block, newline="") for block in blocks)
    return csv.reader(lines, strict=True)


def _broken_row(stream: BinaryIO) -> int:
    """The line that the first broken row begins on: read once more, row by row."""
    stream.seek(0)
    rows = _reader(stream, lambda _: None)
    before = 0
    with suppress(csv.Error, NotTextError):  # it is there: that is why we look
        for _ in rows:
            before = rows.line_num
    return before + 1


def _not_csv(fault: csv.Error) -> str:
    text = str(fault)
    if "limit" in text or "end of data" in text:
        return (
            f"a field that does not end, or is longer than {_LONGEST_FIELD:,} characters; "
            "is a quotation mark left open?"
        )
    if "expected after" in text:
        return 'a quotation mark inside a field; write it twice ("") and the field in quotes'
    return f"not CSV: {text}"


def _order(
    path: Path, header: Sequence[str], columns: Sequence[str], every: Sequence[str]
) -> list[int]:
    """Where each of the columns stands in the header. Raises Unusable naming what is amiss."""
    wanted = f"the header should be: {','.join(every)}"
    if not any(header):
        raise Unusable(f"{path}: line 1: no header row; {wanted}")
    for sign, name in ((";", "semicolons"), ("\t", "tabs")):
        if len(header) == 1 and sign in header[0]:
            raise Unusable(f"{path}: line 1: columns parted by {name}; save it with commas")
    times = Counter(header)
    missing = [name for name in columns if name not in times]
    unknown = [name for name in header if name not in columns]
    twice = sorted(name for name, count in times.items() if count > 1)
    for what, names in (("unknown column", unknown), ("no column", missing), ("twice", twice)):
        if names:
            listed = ", ".join(shown(name) for name in names[:_NAMED])
            raise Unusable(f"{path}: line 1: {what} {listed}; {wanted}")
    return [header.index(name) for name in columns]
