"""Readings that wait for the broker: the newest so many; what falls off the end is counted.

All memory is taken at the start (13 bytes a reading), so that a long outage cannot use up the
board's.
"""

from array import array

from .words import Reading

_MOST_SERIES = 255


class Ring:
    """Readings in the order they were taken, by running number.

    What was read from it stays until `done`: the broker may not have it yet. `dropped` counts
    readings that are lost for good.
    """

    def __init__(self, capacity: int) -> None:
        self._capacity = capacity
        self._at_ms = array("Q", [0] * capacity)
        self._value_e4 = array("i", [0] * capacity)
        self._series = array("B", [0] * capacity)
        self._names: list[tuple[str, str]] = []
        self._first = 0
        self._next = 0
        self._on_its_way = 0  # running number behind what was read last
        self._overtaken = 0  # ... of which so many have fallen off the end since
        self.dropped = 0

    def __len__(self) -> int:
        return self._next - self._first

    def add(self, at_ms: int, reading: Reading) -> None:
        """One more; when there is no room, the oldest goes."""
        series = self._number_of(reading)
        if series is None:
            self.dropped += 1
            return
        if len(self) == self._capacity:
            if self._first < self._on_its_way:
                self._overtaken += 1
            else:
                self.dropped += 1
            self._first += 1
        place = self._next % self._capacity
        self._at_ms[place] = at_ms
        self._value_e4[place] = reading.value_e4
        self._series[place] = series
        self._next += 1

    def oldest(self, most: int) -> list[tuple[int, Reading]]:
        """Up to `most` of the oldest, with the time each was taken. They are on their way now."""
        self.failed()
        found = []
        for number in range(self._first, min(self._first + most, self._next)):
            place = number % self._capacity
            probe, unit = self._names[self._series[place]]
            found.append((self._at_ms[place], Reading(probe, unit, self._value_e4[place])))
        self._on_its_way = self._first + len(found)
        return found

    def done(self) -> None:
        """What is on its way has arrived."""
        self._first = max(self._first, self._on_its_way)
        self._overtaken = 0

    def failed(self) -> None:
        """It may not have arrived: it is read again, but for what has fallen off the end."""
        self.dropped += self._overtaken
        self._overtaken = 0
        self._on_its_way = self._first

    def _number_of(self, reading: Reading) -> int | None:
        name = (reading.probe, reading.unit)
        if name in self._names:
            return self._names.index(name)
        if len(self._names) == _MOST_SERIES:
            if len(self):
                return None
            self._names = []
        self._names.append(name)
        return len(self._names) - 1
