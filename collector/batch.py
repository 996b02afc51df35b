"""The readings since the last commit, with what is owed for them; bounded."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from collector.deliveries import Ticket
from collector.readings import Reading
from collector.store.journal import Receipt


@dataclass(frozen=True, slots=True)
class Entry:
    """The readings of one frame. With a ticket, somebody else still keeps them too."""

    source: str
    readings: list[Reading]
    ticket: Ticket | None = None
    receipt: Receipt | None = None


class Batch:
    """Entries waiting for the next commit, at most `most` readings of them.

    A commit that fails leaves them here. At the bound the oldest that nobody else keeps go.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._entries: deque[Entry] = deque()
        self._readings = 0
        self._deliveries = 0

    def __len__(self) -> int:
        """Readings that wait."""
        return self._readings

    @property
    def deliveries(self) -> int:
        """Messages that wait to be acknowledged until this is committed."""
        return self._deliveries

    @property
    def full(self) -> bool:
        """True when there is no room, and nothing that may be dropped to make some."""
        return self._readings >= self._most and self._deliveries == len(self._entries)

    @property
    def kept_elsewhere(self) -> int:
        """Readings that a broker still has too."""
        return sum(len(entry.readings) for entry in self._entries if entry.ticket is not None)

    def add(self, entry: Entry) -> list[Entry]:
        """Take `entry`; returns those that had to go for it, oldest first."""
        self._entries.append(entry)
        self._readings += len(entry.readings)
        self._deliveries += entry.ticket is not None
        dropped = []
        while self._readings > self._most and self._deliveries < len(self._entries):
            dropped.append(self._drop_oldest())
        return dropped

    def readings(self) -> list[Reading]:
        """All readings, in the order they came."""
        return [reading for entry in self._entries for reading in entry.readings]

    def receipts(self) -> list[Receipt]:
        """The receipts that belong in the same commit."""
        return [entry.receipt for entry in self._entries if entry.receipt is not None]

    def clear(self) -> list[Ticket]:
        """Forget all; returns the tickets that were waiting."""
        tickets = [entry.ticket for entry in self._entries if entry.ticket is not None]
        self._entries.clear()
        self._readings = self._deliveries = 0
        return tickets

    def _drop_oldest(self) -> Entry:
        at = next(i for i, entry in enumerate(self._entries) if entry.ticket is None)
        entry = self._entries[at]
        del self._entries[at]
        self._readings -= len(entry.readings)
        return entry
