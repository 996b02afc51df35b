"""The readings of one series, as columns: what the store takes, keeps and gives."""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import chain, groupby, pairwise, repeat
from operator import add, itemgetter, lt, mul

from collector.readings import AS_READ, Correction, Flag, Reading, SeriesKey

DAY_MS = 86_400_000
"""A UTC day in ms; days are numbered from 1970-01-01."""

Run = tuple[int, Correction]
"""The index of the first reading of a run, and the correction of all in it."""


@dataclass(slots=True)
class Columns:
    """Readings of one series, in time order, no time twice.

    `at_ms` is UTC in ms, `raw` is in °C, %RH or V as the sensor said it, `flags` holds `Flag`
    values. `corrections` are runs; the first begins at 0; empty means as read throughout.
    """

    at_ms: array[int] = field(default_factory=lambda: array("q"))
    raw: array[float] = field(default_factory=lambda: array("d"))
    flags: bytearray = field(default_factory=bytearray)
    corrections: list[Run] = field(default_factory=list)

    def __len__(self) -> int:
        """How many readings there are."""
        return len(self.at_ms)

    @classmethod
    def of(cls, readings: Iterable[Reading]) -> dict[SeriesKey, Columns]:
        """Readings in any order, by series. Of two of the same time, the first one stays."""
        rows = Rows()
        for one in readings:
            rows.add(one.key, one.at_ms, one.raw, int(one.flags), one.correction)
        return rows.columns()

    @classmethod
    def ordered(
        cls,
        at_ms: Iterable[int],
        raw: Iterable[float],
        flags: Iterable[int] | None = None,
        corrections: Iterable[Correction] | None = None,
    ) -> Columns:
        """Rows in any order, put in time order. Of two of the same time, the first one stays.

        Without `flags` none is doubted; without `corrections` all are as read.
        """
        times = array("q", at_ms)
        made = cls(
            times,
            array("d", raw),
            bytearray(len(times)) if flags is None else bytearray(flags),
            [] if corrections is None else runs_of(corrections),
        )
        if in_order(times):
            return made
        order = sorted(range(len(times)), key=times.__getitem__)
        firsts = [next(same) for _, same in groupby(order, key=times.__getitem__)]
        return made.taken(firsts)

    @classmethod
    def joined(cls, parts: Iterable[Columns]) -> Columns:
        """Parts of one series in time order, each later than the one before, as one."""
        whole = cls()
        for part in parts:
            whole.corrections = whole._runs_followed_by(part)
            whole.at_ms.extend(part.at_ms)
            whole.raw.extend(part.raw)
            whole.flags.extend(part.flags)
        return whole

    def values(self) -> array[float]:
        """The corrected values, in the unit of `raw`."""
        if not self.corrections:
            return self.raw[:]
        values = array("d")
        for start, end, correction in self.runs():
            piece = self.raw[start:end]
            if correction != AS_READ:
                scaled = map(mul, repeat(correction.gain), piece)
                piece = array("d", map(add, scaled, repeat(correction.offset)))
            values.extend(piece)
        return values

    def runs(self) -> Iterator[tuple[int, int, Correction]]:
        """(first index, index behind the last, correction) of every run."""
        starts = self.corrections or [(0, AS_READ)]
        for (start, correction), (end, _) in pairwise([*starts, (len(self), AS_READ)]):
            yield start, end, correction

    def each_correction(self) -> Iterator[Correction]:
        """The correction of every reading."""
        return chain.from_iterable(repeat(one, end - start) for start, end, one in self.runs())

    def readings(self, key: SeriesKey) -> Iterator[Reading]:
        """The same as readings of the series `key`."""
        rows = zip(self.at_ms, self.raw, self.each_correction(), self.flags, strict=True)
        for at_ms, raw, correction, flags in rows:
            yield Reading(key.probe, key.quantity, at_ms, raw, correction, Flag(flags))

    def cut(self, start_ms: int, end_ms: int) -> Columns:
        """The readings of [start_ms, end_ms), copied."""
        start = bisect_left(self.at_ms, start_ms)
        return self.slice(start, max(start, bisect_left(self.at_ms, end_ms)))

    def slice(self, start: int, end: int) -> Columns:
        """The readings from index `start` to before `end`, copied. 0 <= start <= end."""
        runs = [
            (max(first, start) - start, correction)
            for first, behind, correction in self.runs()
            if first < end and behind > start
        ]
        return Columns(
            self.at_ms[start:end], self.raw[start:end], self.flags[start:end], _telling(runs)
        )

    def taken(self, indexes: Sequence[int]) -> Columns:
        """The readings at `indexes`, in that order."""
        each = list(self.each_correction()) if self.corrections else []
        return Columns(
            array("q", map(self.at_ms.__getitem__, indexes)),
            array("d", map(self.raw.__getitem__, indexes)),
            bytearray(map(self.flags.__getitem__, indexes)),
            runs_of(map(each.__getitem__, indexes)) if each else [],
        )

    def days(self) -> Iterator[tuple[int, Columns]]:
        """(day number, its readings), one for each UTC day that has any."""
        start = 0
        while start < len(self):
            day = self.at_ms[start] // DAY_MS
            end = bisect_left(self.at_ms, (day + 1) * DAY_MS, lo=start)
            yield day, self if end - start == len(self) else self.slice(start, end)
            start = end

    def merged(self, other: Columns) -> Columns:
        """The union by time; where both have a reading of one time, the own one stays."""
        if not other:
            return self
        if not self:
            return other
        if self.at_ms[-1] < other.at_ms[0]:
            return self._followed_by(other)
        if other.at_ms[-1] < self.at_ms[0]:
            return other._followed_by(self)
        return self._woven_with(other)

    def without(self, other: Columns) -> Columns:
        """The readings whose times `other` does not have."""
        known = set(other.at_ms)
        return self.taken([i for i, at_ms in enumerate(self.at_ms) if at_ms not in known])

    def differing(self, other: Columns) -> int:
        """How many times both have with unlike (corrected) values."""
        mine = dict(zip(self.at_ms, self.values(), strict=True))
        theirs = zip(other.at_ms, other.values(), strict=True)
        return sum(mine.get(at_ms, value) != value for at_ms, value in theirs)

    def _woven_with(self, other: Columns) -> Columns:
        fresh = other.without(self)
        if not fresh:
            return self
        both = self._followed_by(fresh)
        return both.taken(sorted(range(len(both)), key=both.at_ms.__getitem__))

    def _followed_by(self, other: Columns) -> Columns:
        return Columns.joined((self, other))

    def _runs_followed_by(self, other: Columns) -> list[Run]:
        if not self:
            return list(other.corrections)
        if not self.corrections and not other.corrections:
            return []
        runs = [(start, one) for start, _, one in self.runs()]
        for start, _, correction in other.runs():
            if correction != runs[-1][1]:
                runs.append((start + len(self), correction))
        return runs


class Rows:
    """Readings of many series, gathered row by row."""

    def __init__(self) -> None:
        self._series: dict[SeriesKey, list[tuple[int, float, int, Correction]]] = {}

    def add(self, key: SeriesKey, at_ms: int, raw: float, flags: int, by: Correction) -> None:
        """One more reading."""
        self._series.setdefault(key, []).append((at_ms, raw, flags, by))

    def columns(self) -> dict[SeriesKey, Columns]:
        """All of them by series. Of two of the same time, the first one stays."""
        return {
            key: Columns.ordered(*(map(itemgetter(part), rows) for part in range(4)))
            for key, rows in self._series.items()
        }


def runs_of(corrections: Iterable[Correction]) -> list[Run]:
    """Runs from the correction of every reading; none when all are as read."""
    runs: list[Run] = []
    for index, correction in enumerate(corrections):
        if not runs or correction != runs[-1][1]:
            runs.append((index, correction))
    return _telling(runs)


def in_order(at_ms: array[int]) -> bool:
    """True when every time is later than the one before it."""
    return all(map(lt, at_ms, at_ms[1:]))


def _telling(runs: list[Run]) -> list[Run]:
    return [] if len(runs) == 1 and runs[0][1] == AS_READ else runs
