"""What a user would take instead of the store, and what cannot be beaten."""

from __future__ import annotations

import os
import sqlite3
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from math import log2
from operator import sub
from pathlib import Path

from collector.readings import SeriesKey
from collector.store.columns import Columns
from collector.store.entry import Row, pack_entry


class KeyedTable:
    """One SQLite table keyed by probe and time, in WAL mode, with pages of the usual size."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = sqlite3.connect(path, isolation_level=None)
        self._file.execute("PRAGMA journal_mode = WAL")
        self._file.execute(
            "CREATE TABLE IF NOT EXISTS reading (probe TEXT, at_ms INTEGER, value REAL, "
            "PRIMARY KEY (probe, at_ms)) WITHOUT ROWID"
        )

    def put(self, rows: Sequence[tuple[str, int, float]], *, synced: bool) -> None:
        """One commit, synced or left to the next one that is."""
        self._file.execute(f"PRAGMA synchronous = {'FULL' if synced else 'NORMAL'}")
        self._file.execute("BEGIN")
        self._file.executemany("INSERT INTO reading VALUES (?, ?, ?)", rows)
        self._file.execute("COMMIT")

    def put_many(self, rows: Iterable[tuple[str, int, float]]) -> None:
        """Millions in one commit, and into the file."""
        self._file.execute("BEGIN")
        self._file.executemany("INSERT INTO reading VALUES (?, ?, ?)", rows)
        self._file.execute("COMMIT")
        self._file.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()

    def window(self, probe: str, start_ms: int, end_ms: int) -> list[tuple[int, float]]:
        """The readings of [start_ms, end_ms)."""
        return self._file.execute(
            "SELECT at_ms, value FROM reading WHERE probe = ? AND at_ms >= ? AND at_ms < ? "
            "ORDER BY at_ms",
            (probe, start_ms, end_ms),
        ).fetchall()

    def close(self) -> None:
        """Move everything into the file, and let go of it."""
        self._file.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        self._file.close()


class BareAppend:
    """The same readings, packed as the journal packs them, at the end of a plain file."""

    def __init__(self, path: Path) -> None:
        self._file = path.open("ab", buffering=0)

    def put(self, rows: Sequence[Row], *, synced: bool) -> None:
        """One write, synced or left to the next one that is."""
        self._file.write(pack_entry(rows, ()))
        if synced:
            os.fsync(self._file)

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()


def entropy_bytes(columns: Columns) -> float:
    """What the series itself holds, a reading: Shannon's entropy of its steps in time and value.

    A coder that knows the frequencies of the steps, but nothing of what moves an enclosure, needs
    so much.
    """
    times = list(map(sub, columns.at_ms[1:], columns.at_ms))
    values = list(map(sub, columns.raw[1:], columns.raw))
    return (_entropy_bits(times) + _entropy_bits(values)) / 8


def _entropy_bits(steps: Sequence[float]) -> float:
    counts = Counter(round(step, 9) for step in steps).values()
    return sum(count * log2(len(steps) / count) for count in counts) / len(steps)


def parquet_bytes(batch: Mapping[SeriesKey, Columns], path: Path) -> tuple[int, int]:
    """The size of a Parquet file written with care, and of one as pandas writes it."""
    import pandas as pd
    import pyarrow as pa
    import pyarrow.parquet as pq

    frames = [
        pd.DataFrame({"probe": key.probe, "time": one.at_ms, "value": one.raw})
        for key, one in batch.items()
    ]
    whole = pd.concat(frames, ignore_index=True)
    plain = path.with_suffix(".pandas.parquet")
    whole.to_parquet(plain)
    table = pa.Table.from_pandas(whole, preserve_index=False)
    pq.write_table(
        table, path, compression="zstd", compression_level=19, use_dictionary=["probe", "value"],
        column_encoding={"time": "DELTA_BINARY_PACKED"},
    )  # fmt: skip
    return path.stat().st_size, plain.stat().st_size
