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
    """How many readings a series has, and the times of the first and the last in UTC ms.

    `thinned` more were there, of whose days the hours alone are kept; where those come first (or
    last), that time is the day's beginning (or end).
    """

    count: int
    first_ms: int
    last_ms: int
    thinned: int = 0


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


class ArchiveDown(StoreFault):
    """A server that keeps the archive cannot be used now: it is away, ill, or refuses us."""


class ArchiveRefused(StoreFault):
    """The archive took a batch, but for some readings that it will not keep as it is set up.

    They are still wherever they came from.
    """


class Archive(Protocol):
    """Keeps readings of any age, by (probe, quantity, time)."""

    def write(self, batch: Mapping[SeriesKey, Columns]) -> Written:
        """Keep a batch, for good on return. Writing it again is harmless.

        A file takes all of it or nothing; of a server that fails on the way a part may be there.
        Raises ArchiveAway or ArchiveDown when it must be tried again, ArchiveRefused, StoreFault
        when it cannot be done, ValueError for readings out of order or not finite.
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
