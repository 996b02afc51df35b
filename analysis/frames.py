"""The only bridge from the store to numpy and pandas.

Blocks are decoded here with numpy, about eight times as fast as `collector.store.codec` does it
without; tests hold the two equal. The layout, and what makes a block damaged, are in
`collector.store.block`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from collector.readings import AS_READ, SeriesKey
from collector.store.block import Block, Values, open_block
from collector.store.columns import Columns
from collector.store.reader import Reader
from config.errors import StoreFault

if TYPE_CHECKING:
    import pandas as pd

Int64s = NDArray[np.int64]
Doubles = NDArray[np.float64]
_ORDER = "<"
"""Of the bytes of a packed block."""


@dataclass(frozen=True, slots=True)
class Track:
    """The usable readings of one series, in time order, no time twice.

    `at_ms` is UTC in ms, `value` the corrected value in °C, %RH or V.
    """

    at_ms: Int64s
    value: Doubles


@dataclass(frozen=True, slots=True)
class Table:
    """All readings of one series, flagged or not, as arrays; otherwise like `Columns`."""

    at_ms: Int64s
    raw: Doubles
    value: Doubles
    flags: NDArray[np.uint8]

    def taken(self, which: slice | NDArray[np.bool_] | NDArray[np.intp]) -> Table:
        """Some of the readings."""
        return Table(self.at_ms[which], self.raw[which], self.value[which], self.flags[which])


def track(reader: Reader, key: SeriesKey, start_ms: int, end_ms: int) -> Track:
    """The usable readings of [start_ms, end_ms). Raises StoreFault."""
    table = read_table(reader, key, start_ms, end_ms)
    if table.flags.any():
        table = table.taken(table.flags == 0)
    return Track(table.at_ms, table.value)


def frame(reader: Reader, keys: Iterable[SeriesKey], start_ms: int, end_ms: int) -> pd.DataFrame:
    """All readings of [start_ms, end_ms), series after series, as a pandas DataFrame.

    Index `time` (UTC, ms); columns `probe`, `quantity`, `value` (corrected), `raw`, `flags` (0:
    usable). Raises StoreFault.
    """
    import pandas as pd  # noqa: PLC0415  half a second and 40 MB that a track does not need

    series = list(keys)
    tables = [read_table(reader, key, start_ms, end_ms) for key in series]
    lengths = [len(table.at_ms) for table in tables]
    whole = _joined(tables)
    return pd.DataFrame(
        {
            "probe": pd.Series(np.repeat([key.probe for key in series] or [""], lengths or [0])),
            "quantity": pd.Series(
                np.repeat([key.quantity.value for key in series] or [""], lengths or [0])
            ),
            "value": whole.value,
            "raw": whole.raw,
            "flags": whole.flags,
        }
    ).set_index(pd.DatetimeIndex(whole.at_ms.astype("datetime64[ms]"), tz="UTC", name="time"))


def read_table(reader: Reader, key: SeriesKey, start_ms: int, end_ms: int) -> Table:
    """All readings of [start_ms, end_ms), flagged or not. Raises StoreFault."""
    packed = reader.blocks(key, start_ms, end_ms)
    whole = _joined([decoded(block) for block in packed.blocks])
    start, end = np.searchsorted(whole.at_ms, [start_ms, end_ms])
    whole = whole.taken(slice(start, end))
    return _with_journal(whole, packed.journal) if packed.journal else whole


def decoded(packed: bytes) -> Table:
    """One packed block. Raises StoreFault when it is damaged."""
    block = open_block(packed)
    try:
        at_ms, raw = _times(block), _raw(block)
    except IndexError as fault:
        raise StoreFault(f"a damaged block: {fault}") from fault
    if at_ms[-1] != block.last_ms:
        raise StoreFault("a damaged block: it does not end at the time it should")
    flags = np.frombuffer(block.flags or bytes(block.count), np.uint8)
    return Table(at_ms, raw, _corrected(raw, block), flags)


def _times(block: Block) -> Int64s:
    # Unsigned, which wraps around: two times may be further apart than an int64 can say.
    at_ms = np.empty(block.count, np.uint64)
    at_ms[0] = block.first_ms % 2**64
    over, step_ms = _unsigned(block.times, block.time_width), np.uint64(block.step_ms)
    np.add(over, step_ms, out=at_ms[1:], dtype=np.uint64)  # numpy 1 would add in fewer bytes
    return np.cumsum(at_ms, out=at_ms).view(np.int64)


def _raw(block: Block) -> Doubles:
    if block.kind is Values.DOUBLES:
        return _doubles(block.values)
    zigzagged = _unsigned(block.values, block.width)
    signed = zigzagged.dtype.str.replace("u", "i")  # as wide as they are, so that little is moved
    integers = np.empty(block.count, np.int64)
    integers[0] = block.start
    integers[1:] = (zigzagged >> 1).view(signed) ^ -(zigzagged & 1).view(signed)
    np.cumsum(integers, out=integers)
    if block.kind is Values.GRID:
        return integers / float(block.scale)
    if integers.min() < 0:
        raise IndexError("a value has no place in its table")
    return _doubles(block.table)[integers]


def _unsigned(planes: bytes, width: int) -> NDArray[np.unsignedinteger[Any]]:
    """The integers of byte planes, as wide as they are written, in this machine's byte order."""
    bytes_of = np.frombuffer(planes, np.uint8)
    if width == 1:
        return bytes_of
    written = np.ascontiguousarray(bytes_of.reshape(width, -1).T).view(f"{_ORDER}u{width}").ravel()
    return written.astype(f"u{width}", copy=False)


def _doubles(planes: bytes) -> Doubles:
    return _unsigned(planes, 8).view(np.float64)


def _corrected(raw: Doubles, block: Block) -> Doubles:
    if not block.runs:
        return raw
    value = raw.copy()
    ends = [index for index, _ in block.runs[1:]] + [block.count]
    for (start, correction), end in zip(block.runs, ends, strict=True):
        if correction != AS_READ:
            value[start:end] = correction.gain * raw[start:end] + correction.offset
    return value


def _joined(tables: Sequence[Table]) -> Table:
    if len(tables) == 1:
        return tables[0]
    tables = tables or [
        Table(np.empty(0, np.int64), np.empty(0), np.empty(0), np.empty(0, np.uint8))
    ]
    raw = np.concatenate([one.raw for one in tables])
    as_read = all(one.value is one.raw for one in tables)
    return Table(
        np.concatenate([one.at_ms for one in tables]),
        raw,
        raw if as_read else np.concatenate([one.value for one in tables]),
        np.concatenate([one.flags for one in tables]),
    )


def _with_journal(archived: Table, journal: Columns) -> Table:
    """The union by time; of two of the same time the archived one stays."""
    tail = Table(
        np.array(journal.at_ms, np.int64),
        np.array(journal.raw, np.float64),
        np.array(journal.values(), np.float64),
        np.array(journal.flags, np.uint8),
    )
    both = _joined([archived, tail])
    if not len(archived.at_ms) or archived.at_ms[-1] < tail.at_ms[0]:
        return both
    _, firsts = np.unique(both.at_ms, return_index=True)
    return both.taken(firsts)
