"""Which readings to doubt. A doubted reading is flagged and kept as it came, never altered.

Two ways to the same rules: `Judge` for readings as they arrive, which only knows the past, and
`judge_series` for a whole series at once (an import), which looks at both neighbours.
"""

from __future__ import annotations

from array import array
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from operator import sub

from collector.readings import Flag, Quantity, Reading, SeriesKey
from collector.sensors import POWER_ON_C, Sensor, impossible, may_be_power_on
from collector.store.columns import Columns
from collector.stuck import StuckProbes
from config.settings import Plausibility

MOST_SERIES = 4096
"""Series whose state is kept; beyond, the one heard of longest ago is forgotten."""
_MINUTE_MS = 60_000.0


def too_fast(change_c: float, elapsed_ms: float, settings: Plausibility) -> bool:
    """True when the inside of an enclosure cannot change by `change_c` in `elapsed_ms`."""
    allowed_c = settings.jump_c + settings.jump_c_per_minute * elapsed_ms / _MINUTE_MS
    return abs(change_c) > allowed_c


# ---- as readings arrive ----------------------------------------------------------------------


@dataclass(slots=True)
class _Series:
    """What is remembered of a series: its last good reading, and a new level on trial."""

    seen_ms: int
    good: float | None = None
    good_ms: int = 0
    trial: float = 0.0
    trial_ms: int = 0
    trial_count: int = 0

    def believe(self, raw: float, at_ms: int) -> None:
        self.good, self.good_ms, self.trial_count = raw, at_ms, 0


class Judge:
    """Flags readings one by one. Its state is bounded: a few numbers per series."""

    def __init__(self, settings: Plausibility, sensors: Mapping[str, Sensor]) -> None:
        self._settings = settings
        self._sensors = sensors
        self._series: dict[SeriesKey, _Series] = {}
        self._stuck = StuckProbes(
            settings.stuck_hours, settings.stuck_others_moved_c, most_series=MOST_SERIES
        )

    def remember(self, reading: Reading) -> None:
        """Start from the newest reading that the store has of a series."""
        series = self._of(reading)
        series.seen_ms = reading.at_ms
        if reading.usable:
            series.believe(reading.raw, reading.at_ms)
        elif reading.flags & Flag.STUCK:
            self._stuck.remember(reading.key, reading.at_ms, reading.raw)

    def flags(self, reading: Reading) -> Flag:
        """Why to doubt this reading; NONE when there is no reason.

        One that is older than what was seen of its series before is held against what its sensor
        can measure, and nothing else.
        """
        series = self._of(reading)
        late = reading.at_ms <= series.seen_ms
        series.seen_ms = max(series.seen_ms, reading.at_ms)
        flag = self._fault_value(series, reading)
        if flag or late or reading.quantity is not Quantity.TEMPERATURE:
            return flag
        if self._jumps(series, reading.raw, reading.at_ms):
            return Flag.JUMP
        series.believe(reading.raw, reading.at_ms)
        stuck = self._stuck.see(reading.key, reading.at_ms, reading.raw)
        return Flag.STUCK if stuck else Flag.NONE

    def _of(self, reading: Reading) -> _Series:
        series = self._series.pop(reading.key, None) or _Series(seen_ms=reading.at_ms - 1)
        self._series[reading.key] = series
        if len(self._series) > MOST_SERIES:
            del self._series[next(iter(self._series))]
        return series

    def _fault_value(self, series: _Series, reading: Reading) -> Flag:
        sensor = self._sensors.get(reading.probe)
        flag = impossible(reading.raw, reading.quantity, sensor)
        if flag or not may_be_power_on(reading.raw, reading.quantity, sensor):
            return flag
        near = (
            series.good is not None
            and abs(series.good - reading.raw) <= self._settings.near_power_on_c
        )
        return Flag.NONE if near else Flag.POWER_ON

    def _jumps(self, series: _Series, raw: float, at_ms: int) -> bool:
        """True for a jump; not for one that has held for long enough to be believed."""
        if series.good is None:
            return False
        if not too_fast(raw - series.good, at_ms - series.good_ms, self._settings):
            return False
        agrees = series.trial_count > 0 and not too_fast(
            raw - series.trial, at_ms - series.trial_ms, self._settings
        )
        series.trial_count = series.trial_count + 1 if agrees else 1
        series.trial, series.trial_ms = raw, at_ms
        return series.trial_count < self._settings.accept_after_readings


# ---- a whole series at once ------------------------------------------------------------------


def judge_series(
    columns: Columns, quantity: Quantity, sensor: Sensor | None, settings: Plausibility
) -> Columns:
    """The same series, its flags set anew. Times and raw values stay as they are.

    A level that holds for `accept_after_readings` readings is believed from its first one: here
    the later ones are known. Not looked at is whether a probe is stuck, which takes the others.
    """
    if _beyond_doubt(columns.raw, quantity, sensor, settings):
        return replace(columns, flags=bytearray(len(columns)))
    flags = bytearray(impossible(raw, quantity, sensor) for raw in columns.raw)
    if quantity is Quantity.TEMPERATURE:
        _flag_power_on(columns.raw, flags, sensor, settings)
        good = [i for i, flag in enumerate(flags) if not flag]
        _flag_jumps(columns, flags, good, settings)
    return replace(columns, flags=flags)


def _beyond_doubt(
    raw: array[float], quantity: Quantity, sensor: Sensor | None, settings: Plausibility
) -> bool:
    """True when nothing in a whole series can be doubted: the usual case, told quickly."""
    if not raw:
        return True
    ends = min(raw), max(raw)
    if any(impossible(end, quantity, sensor) for end in ends):
        return False
    if quantity is not Quantity.TEMPERATURE:
        return True
    steps = map(abs, map(sub, raw[1:], raw))
    power_on_far = ends[1] < POWER_ON_C - settings.near_power_on_c
    return power_on_far and max(steps, default=0.0) <= settings.jump_c


def _flag_power_on(
    raw: array[float], flags: bytearray, sensor: Sensor | None, settings: Plausibility
) -> None:
    """Flag power-on values where neither good neighbour is near."""
    doubted = {
        i for i, value in enumerate(raw) if may_be_power_on(value, Quantity.TEMPERATURE, sensor)
    }
    if not doubted:
        return
    near: set[int] = set()
    for order in (range(len(raw)), range(len(raw) - 1, -1, -1)):
        neighbour: float | None = None
        for i in order:
            if i not in doubted:
                neighbour = raw[i] if not flags[i] else neighbour
            elif neighbour is not None and abs(raw[i] - neighbour) <= settings.near_power_on_c:
                near.add(i)
    for i in doubted - near:
        flags[i] = Flag.POWER_ON


def _flag_jumps(
    columns: Columns, flags: bytearray, good: Sequence[int], settings: Plausibility
) -> None:
    """Flag the short runs that do not fit what is believed before them (at the start: after)."""
    runs = _runs(columns, good, settings)
    lasting = [run for run in runs if len(run) >= settings.accept_after_readings]
    believed: int | None = None
    for run in runs:
        if len(run) >= settings.accept_after_readings:
            fits = True
        elif believed is not None:
            fits = _agree(columns, believed, run[0], settings)
        else:
            fits = not lasting or _agree(columns, run[-1], lasting[0][0], settings)
        if fits:
            believed = run[-1]
        else:
            for i in run:
                flags[i] = Flag.JUMP


def _runs(columns: Columns, good: Sequence[int], settings: Plausibility) -> list[list[int]]:
    """The good readings, cut wherever one does not follow from the one before it."""
    runs: list[list[int]] = []
    for i in good:
        if runs and _agree(columns, runs[-1][-1], i, settings):
            runs[-1].append(i)
        else:
            runs.append([i])
    return runs


def _agree(columns: Columns, before: int, after: int, settings: Plausibility) -> bool:
    elapsed_ms = columns.at_ms[after] - columns.at_ms[before]
    return not too_fast(columns.raw[after] - columns.raw[before], elapsed_ms, settings)
