"""Journal and archive read as one, by any process, while the collector writes."""

from __future__ import annotations

from pathlib import Path
from types import TracebackType
from typing import NamedTuple, Self

from collector.readings import Reading, SeriesKey
from collector.store.archive import Span
from collector.store.columns import Columns


class Packed(NamedTuple):
    """A window as the store keeps it: packed blocks of whole days, and what the journal adds.

    Where both have a reading of one time, the block's stays.
    """

    blocks: list[bytes]
    journal: Columns


class Reader:
    """Readings as soon as they are committed. Read-only; files that do not exist yet are empty."""

    def __init__(self, journal: Path, archive: Path) -> None:
        raise NotImplementedError

    def series(self) -> dict[SeriesKey, Span]:
        """Every series that has readings."""
        raise NotImplementedError

    def columns(self, key: SeriesKey, start_ms: int, end_ms: int) -> Columns:
        """The readings of [start_ms, end_ms)."""
        raise NotImplementedError

    def latest(self) -> dict[SeriesKey, Reading]:
        """The newest reading of every series, flagged or not."""
        raise NotImplementedError

    def blocks(self, key: SeriesKey, start_ms: int, end_ms: int) -> Packed:
        """[start_ms, end_ms) undecoded; blocks hold whole days, so cut what is outside."""
        raise NotImplementedError

    def close(self) -> None:
        """Let go of the files."""
        raise NotImplementedError

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
