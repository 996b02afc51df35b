"""The rows of a readings file, gathered by series in arrays: tens of millions fit in memory.

A CSV carries corrected values, so no calibration is applied. Whether a probe is stuck is not
looked at: a file may have been rounded by whatever wrote it.
"""

from __future__ import annotations

import time
from array import array
from collections.abc import Callable, Mapping

from collector import rfc3339
from collector.exchange.fields import number, shown
from collector.exchange.rows import Sheet
from collector.measured import LONGEST_PROBE_NAME, in_our_unit
from collector.plausible import judge_series
from collector.readings import Quantity, SeriesKey
from collector.sensors import Sensor
from collector.store.columns import Columns
from config.settings import Plausibility

READINGS_COLUMNS = ("time", "probe", "quantity", "value", "unit")
_UNITS = {"temperature": ("Cel", "K", "degF"), "humidity": ("%RH",)}
_SECONDS = {f"{second:02d}": second * 1000 for second in range(60)}
_REMEMBERED = 200_000
_DAY_MS = 86_400_000

Rows = tuple[Callable[[int], None], Callable[[float], None], dict[str, float]]


class _FieldError(ValueError):
    def __init__(self, field: str, why: str) -> None:
        super().__init__(why)
        self.field = field


class ReadingsFile:
    """The readings of one file. `differing`: rows that repeat a time with another value."""

    def __init__(self, now_ms: Callable[[], int] = lambda: time.time_ns() // 1_000_000) -> None:
        self._latest_ms = now_ms() + _DAY_MS
        self._series: dict[SeriesKey, tuple[array[int], array[float]]] = {}
        self._ways: dict[tuple[str, str, str], Rows] = {}
        self._minutes: dict[str, int] = {}
        self.differing = 0

    def read(self, sheet: Sheet) -> int:
        """Take in all rows, faulty ones into the sheet's faults; return how many were taken."""
        count = 0
        ways = self._ways
        for line, (at, probe, quantity, value, unit) in sheet:
            try:
                way = ways.get((probe, quantity, unit)) or self._way(probe, quantity, unit)
                known = way[2].get(value)
                if known is None:
                    known = self._value(value, unit, way[2])
                at_ms = self._time(at)
            except _FieldError as fault:
                sheet.faults.add(line, fault.field, str(fault))
                continue
            way[0](at_ms)
            way[1](known)
            count += 1
        return count

    def judged(
        self, sensors: Mapping[str, Sensor | None], settings: Plausibility
    ) -> dict[SeriesKey, Columns]:
        """The series in time order, each flagged. Of two rows of one time, the first one stays."""
        batch = {}
        for key, (times, raws) in self._series.items():
            columns = Columns.ordered(times, raws)
            if len(columns) != len(times):
                first = dict(zip(columns.at_ms, columns.raw, strict=True))
                rows = zip(times, raws, strict=True)
                self.differing += sum(first[at_ms] != raw for at_ms, raw in rows)
            batch[key] = judge_series(columns, key.quantity, sensors.get(key.probe), settings)
        return batch

    def _way(self, probe: str, quantity: str, unit: str) -> Rows:
        """Where the rows of this probe, quantity and unit go. Raises _FieldError."""
        if not probe or len(probe) > LONGEST_PROBE_NAME or not probe.isprintable():
            why = "is empty" if not probe else f"{shown(probe)} is not a probe's name"
            raise _FieldError("probe", why)
        units = _UNITS.get(quantity)
        if units is None:
            raise _FieldError("quantity", f"{shown(quantity)} is none of: {', '.join(_UNITS)}")
        if unit not in units:
            raise _FieldError("unit", f"{shown(unit)} is none of: {', '.join(units)}")
        key = SeriesKey(probe, Quantity(quantity))
        times, raws = self._series.setdefault(key, (array("q"), array("d")))
        way: Rows = (times.append, raws.append, {})
        self._ways[probe, quantity, unit] = way
        return way

    def _value(self, text: str, unit: str, remembered: dict[str, float]) -> float:
        try:
            value = number(text) if text else None
        except ValueError as fault:
            raise _FieldError("value", str(fault)) from None
        if value is None:
            raise _FieldError("value", "is empty")
        found = in_our_unit(value, unit)
        if found is None:
            raise _FieldError("unit", f"{shown(unit)} is not a unit of ours")
        if len(remembered) >= _REMEMBERED:
            remembered.clear()
        remembered[text] = found[1]
        return found[1]

    def _time(self, text: str) -> int:
        """UTC ms. The minute is read strictly and remembered; seconds are added to it."""
        seconds = _SECONDS.get(text[17:19])
        tail = text[19:]
        if seconds is None or not tail or tail[0] == ".":
            return self._whole_time(text)
        minute = text[:17] + tail
        base = self._minutes.get(minute)
        if base is None:
            base = self._whole_time(f"{text[:17]}00{tail}", text)
            if len(self._minutes) >= _REMEMBERED:
                self._minutes.clear()
            self._minutes[minute] = base
        return base + seconds

    def _whole_time(self, text: str, written: str | None = None) -> int:
        try:
            at_ms = rfc3339.parse(text)
        except ValueError as fault:
            raise _FieldError("time", self._own_fault(written or text, fault)) from None
        if at_ms > self._latest_ms:
            raise _FieldError("time", f"{shown(written or text)} is more than a day from now")
        return at_ms

    @staticmethod
    def _own_fault(text: str, fault: ValueError) -> str:
        try:
            rfc3339.parse(text)
        except ValueError as own:
            return str(own)
        return str(fault)
