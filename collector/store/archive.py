"""What an archive of readings does, whichever keeps them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from collector.readings import SeriesKey
from collector.store.columns import Columns
from config.errors import StoreFault


@dataclass(frozen=True, slots=True)
class Span:
    """How many readings a series has, and the times of the first and the last in UTC ms."""

    count: int
    first_ms: int
    last_ms: int


@dataclass(slots=True)
class Written:
    """What became of the readings of a write; every one counts once.

    `new` are kept. `known` were there already. `differing` were there with another (corrected)
    value; the first one stays.
    """

    new: int = 0
    known: int = 0
    differing: int = 0


class ArchiveAway(StoreFault):
    """The archive cannot take readings just now: another process writes to it, or it is down."""


class Archive(Protocol):
    """Keeps readings of any age, by (probe, quantity, time)."""

    def write(self, batch: Mapping[SeriesKey, Columns]) -> Written:
        """Keep a batch: all of it or nothing, and for good on return. Writing it again is harmless.

        Raises ArchiveAway when it must be tried again, StoreFault when it cannot be done.
        """
        ...

    def series(self) -> dict[SeriesKey, Span]:
        """Every series that has readings."""
        ...

    def columns(self, key: SeriesKey, start_ms: int, end_ms: int) -> Columns:
        """The readings of [start_ms, end_ms); none when there is no such series."""
        ...

    def close(self) -> None:
        """Let go of the file or the connection."""
        ...
