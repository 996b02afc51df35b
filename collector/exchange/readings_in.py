"""The rows of a readings file, gathered by series and judged.

A CSV carries corrected values, so no calibration is applied. Whether a probe is stuck is not
looked at: a file may have been rounded by whatever wrote it.

A step of rows is taken column by column where nothing in it is amiss, else row by row: that is
slower, and names what is wrong.
"""

from __future__ import annotations

import time
from array import array
from collections.abc import Callable, Iterator, Mapping

from collector import rfc3339
from collector.exchange.columns import Minutes, numbers, times
from collector.exchange.fields import number, shown
from collector.exchange.gathered import Gathered
from collector.exchange.rows import Sheet, Step
from collector.measured import LONGEST_PROBE_NAME, in_our_unit
from collector.plausible import judge_series
from collector.readings import Quantity, SeriesKey
from collector.sensors import Sensor
from collector.store.columns import Columns, in_order
from config.settings import Plausibility

READINGS_COLUMNS = ("time", "probe", "quantity", "value", "unit")
_UNITS = {"temperature": ("Cel", "K", "degF"), "humidity": ("%RH",)}
_OURS = frozenset(("Cel", "%RH"))
_DAY_MS = 86_400_000
_WAYS_REMEMBERED = 10_000

Way = tuple["array[int]", "array[float]"]


class _FieldError(ValueError):
    def __init__(self, field: str, why: str) -> None:
        super().__init__(why)
        self.field = field


class ReadingsFile:
    """The readings of one file, taken in from a sheet."""

    def __init__(
        self,
        gathered: Gathered,
        now_ms: Callable[[], int] = lambda: time.time_ns() // 1_000_000,
    ) -> None:
        self._gathered = gathered
        self._latest_ms = now_ms() + _DAY_MS
        self._minutes = Minutes()
        self._ways: dict[tuple[str, str, str], Way] = {}

    def read(self, sheet: Sheet) -> int:
        """Take in all rows, faulty ones into the sheet's faults; return how many were taken."""
        count = 0
        for step in sheet.steps:
            taken = self._columns(step, sheet) or self._rows(step, sheet)
            self._gathered.came(taken)
            count += taken
        return count

    def _columns(self, step: Step, sheet: Sheet) -> int:
        """All rows of the step at once; 0, and nothing taken, when they have to be looked at."""
        try:
            columns = list(zip(*step.rows, strict=True))
        except ValueError:
            return 0
        if len(columns) != sheet.width:
            return 0
        at, probes, quantities, values, units = (columns[i] for i in sheet.order)
        at_ms, raw = times(at, self._minutes), numbers(values)
        if at_ms is None or raw is None or min(at_ms) < 0 or max(at_ms) > self._latest_ms:
            return 0
        try:
            ways = [self._ways[key] for key in zip(probes, quantities, units, strict=True)]
        except KeyError:
            return 0
        if not _OURS.issuperset(units):
            raw = array("d", map(_converted, raw, units))
        for way, one_ms, one in zip(ways, at_ms, raw, strict=True):
            way[0].append(one_ms)
            way[1].append(one)
        return len(at_ms)

    def _rows(self, step: Step, sheet: Sheet) -> int:
        """The rows of the step one by one; those that cannot be used go to the sheet's faults."""
        count = 0
        for line, (at, probe, quantity, value, unit) in sheet.rows(step):
            try:
                way = self._ways.get((probe, quantity, unit)) or self._way(probe, quantity, unit)
                one, one_ms = _value(value, unit), self._time(at)
            except _FieldError as fault:
                sheet.faults.add(line, fault.field, str(fault))
                continue
            way[0].append(one_ms)
            way[1].append(one)
            count += 1
        return count

    def _way(self, probe: str, quantity: str, unit: str) -> Way:
        """Where the rows of this probe, quantity and unit go. Raises _FieldError."""
        if not probe:
            raise _FieldError("probe", "is empty")
        if len(probe) > LONGEST_PROBE_NAME or not probe.isprintable() or probe != probe.strip():
            raise _FieldError("probe", f"{shown(probe)} is not a probe's name")
        units = _UNITS.get(quantity)
        if units is None:
            raise _FieldError("quantity", f"{shown(quantity)} is none of: {', '.join(_UNITS)}")
        if unit not in units:
            raise _FieldError("unit", f"{shown(unit)} is none of: {', '.join(units)}")
        if len(self._ways) >= _WAYS_REMEMBERED:
            self._ways.clear()
        way = self._gathered.of(SeriesKey(probe, Quantity(quantity)))
        self._ways[probe, quantity, unit] = way
        return way

    def _time(self, text: str) -> int:
        if not text:
            raise _FieldError("time", "is empty")
        try:
            at_ms = rfc3339.parse(text)
        except ValueError as fault:
            raise _FieldError("time", str(fault)) from None
        if at_ms > self._latest_ms:
            raise _FieldError("time", f"{shown(text)} is more than a day from now")
        if at_ms < 0:
            raise _FieldError("time", f"{shown(text)} is before 1970; correct the year")
        return at_ms


class Judged(Mapping[SeriesKey, Columns]):
    """What was gathered, each series in time order and flagged, made when it is asked for.

    `differing` and `doubted` count, over the series asked for: rows that repeat a time with
    another value than the first, which stays; and readings that failed a plausibility check.
    """

    def __init__(
        self,
        gathered: Gathered,
        sensors: Mapping[str, Sensor | None],
        settings: Plausibility,
        given: Callable[[int], None] = lambda _rows: None,
    ) -> None:
        self._gathered = gathered
        self._sensors = sensors
        self._settings = settings
        self._given = given
        self._counts: dict[SeriesKey, tuple[int, int]] = {}

    def __getitem__(self, key: SeriesKey) -> Columns:
        at_ms, raw = self._gathered.whole(key)
        columns, differing = in_time_order(at_ms, raw)
        sensor = self._sensors.get(key.probe)
        judged = judge_series(columns, key.quantity, sensor, self._settings)
        self._counts[key] = differing, len(judged) - judged.flags.count(0)
        self._given(len(at_ms))
        return judged

    def __iter__(self) -> Iterator[SeriesKey]:
        return iter(self._gathered.keys())

    def __len__(self) -> int:
        return len(self._gathered.keys())

    @property
    def differing(self) -> int:
        """Rows that repeat a time with another value."""
        return sum(differing for differing, _ in self._counts.values())

    @property
    def doubted(self) -> int:
        """Readings that failed a plausibility check."""
        return sum(doubted for _, doubted in self._counts.values())


def in_time_order(at_ms: array[int], raw: array[float]) -> tuple[Columns, int]:
    """The rows in time order. Of those of one time the first stays; how many others differ."""
    columns = Columns(at_ms, raw, bytearray(len(at_ms)))
    if in_order(at_ms):
        return columns, 0
    order = sorted(range(len(at_ms)), key=at_ms.__getitem__)
    firsts: list[int] = []
    first = differing = 0
    for i in order:
        if firsts and at_ms[i] == at_ms[first]:
            differing += raw[i] != raw[first]
        else:
            first = i
            firsts.append(i)
    return columns.taken(firsts), differing


def _value(text: str, unit: str) -> float:
    if not text:
        raise _FieldError("value", "is empty")
    try:
        return _converted(number(text), unit)
    except ValueError as fault:
        raise _FieldError("value", str(fault)) from None


def _converted(value: float, unit: str) -> float:
    found = in_our_unit(value, unit)
    if found is None:
        raise ValueError(f"{shown(unit)} is no unit of ours")
    return found[1]
