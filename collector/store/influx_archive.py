"""The archive in an InfluxDB, version 2, or 1.8 through the same calls.

InfluxDB lets the last of two readings of one series and time stay. So a write first looks at what
is there and writes only what is not; afterwards it looks again, since a bucket may drop in silence
what is older than it keeps. Only when two write one reading in the same moment the later one
stays; they then hold the same message, and so the same value.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from itertools import islice
from typing import TYPE_CHECKING

from collector.readings import Quantity, SeriesKey
from collector.store.archive import ArchiveRefused, Span, Written
from collector.store.columns import Columns
from collector.store.hours import Hour
from collector.store.influx_server import InfluxServer
from collector.store.influx_text import (
    END_MS,
    FIRST_MS,
    MEASUREMENT,
    columns_of,
    lines_of,
    probe_of,
    probe_tag,
    refuse_unfit,
    tables_of,
    times_ms,
)
from config.errors import StoreFault

if TYPE_CHECKING:
    from config.settings import Archive as ArchiveSettings

_LINES_AT_ONCE = 5_000
"""What InfluxDB's own guide recommends."""
ROWS_AT_ONCE = 250_000


_RAW_ALONE = '|> filter(fn: (r) => r._field == "raw") '


class InfluxArchive:
    """An `Archive` on a server. May be used from several threads."""

    def __init__(self, settings: ArchiveSettings, *, rows_at_once: int = ROWS_AT_ONCE) -> None:
        """Nothing is asked of the server yet. Raises BadSettings."""
        self._server = InfluxServer(settings)
        self._rows_at_once = rows_at_once
        self._lock = threading.RLock()

    @property
    def name(self) -> str:
        """What and where it is, for a line to the keeper."""
        return self._server.name

    def write(self, batch: Mapping[SeriesKey, Columns]) -> Written:
        """See `Archive.write`."""
        written, refused, words = self.take(batch)
        if refused:
            raise ArchiveRefused(self._not_kept(refused, words))
        return written

    def take(
        self, batch: Mapping[SeriesKey, Columns]
    ) -> tuple[Written, dict[SeriesKey, Columns], str | None]:
        """Write a batch; what became of it, what the server did not keep, and its words to that.

        A day at a time, so that a look never gives more than a day.
        """
        by_day: dict[int, dict[SeriesKey, Columns]] = defaultdict(dict)
        for key, columns in batch.items():
            refuse_unfit(columns)
            for day, part in columns.days():
                by_day[day][key] = part
        written, words = Written(), None
        refused: dict[SeriesKey, Columns] = {}
        with self._lock:
            for day in sorted(by_day):
                missing, said = self._write_day(by_day[day], written)
                for key, one in missing.items():
                    refused[key] = refused.get(key, Columns()).merged(one)
                words = words or said
        return written, refused, words

    def series(self) -> dict[SeriesKey, Span]:
        """See `Archive.series`."""
        counts = self.of_each_series("count()", "_value")
        firsts = self.of_each_series("first()", "_time")
        lasts = self.of_each_series("last()", "_time")
        return {
            key: Span(int(count), *times_ms([firsts[key], lasts[key]]))
            for key, count in counts.items()
            if key in firsts and key in lasts
        }

    def last_times(self, since_ms: int = FIRST_MS) -> dict[SeriesKey, int]:
        """The time of the newest reading, from `since_ms` on, of every series that has one."""
        lasts = self.of_each_series("last()", "_time", since_ms=since_ms)
        return dict(zip(lasts, times_ms(list(lasts.values())), strict=True))

    def columns(self, key: SeriesKey, start_ms: int, end_ms: int) -> Columns:
        """See `Archive.columns`."""
        start_ms, end_ms = max(start_ms, FIRST_MS), min(end_ms, END_MS)
        parts = []
        while start_ms < end_ms:
            part = self._some(key, start_ms, end_ms)
            parts.append(part)
            if len(part) < self._rows_at_once:
                break
            start_ms = part.at_ms[-1] + 1
        return Columns.joined(parts).cut(FIRST_MS, end_ms)

    def hours(self, key: SeriesKey, start_ms: int, end_ms: int) -> list[Hour]:  # noqa: ARG002
        """None: nothing is thinned in a bucket that keeps everything."""
        return []

    def count(self, key: SeriesKey, start_ms: int, end_ms: int) -> int:
        """How many readings a series has in [start_ms, end_ms)."""
        answer = self.rows(key, start_ms, end_ms, MEASUREMENT, f"{_RAW_ALONE}|> count() ")
        return sum(int(text) for rows in tables_of(answer) for text in rows["_value"])

    def counted_by_day(self, key: SeriesKey) -> str:
        """The server's answer: `_time` and `_value`, the count of each UTC day that has any."""
        by_day = '|> aggregateWindow(every: 1d, fn: count, timeSrc: "_start", createEmpty: false) '
        return self.rows(key, FIRST_MS, END_MS, MEASUREMENT, f"{_RAW_ALONE}{by_day}")

    def close(self) -> None:
        """Let go of the connections."""
        with self._lock:
            self._server.close()

    def _write_day(
        self, parts: Mapping[SeriesKey, Columns], written: Written
    ) -> tuple[dict[SeriesKey, Columns], str | None]:
        """Write what is not there yet; what the server did not keep, and its words to that."""
        fresh: dict[SeriesKey, Columns] = {}
        for key, part in parts.items():
            kept = self.columns(key, part.at_ms[0], part.at_ms[-1] + 1)
            new = part.without(kept) if kept else part
            differing = kept.differing(part) if len(new) < len(part) else 0
            written.known += len(part) - len(new) - differing
            written.differing += differing
            if new:
                fresh[key] = new
        words = self.send(line for key, new in fresh.items() for line in lines_of(key, new))
        missing = {}
        for key, new in fresh.items():
            # Of this bucket alone: what another one has was not kept here.
            there = InfluxArchive.columns(self, key, new.at_ms[0], new.at_ms[-1] + 1)
            lost = new.without(there)
            written.new += len(new) - len(lost)
            if lost:
                missing[key] = lost
        return missing, words

    def send(self, lines: Iterable[str]) -> str | None:
        """Have the server keep lines; its words when it took only a part. Raises ArchiveDown."""
        words, rest = None, iter(lines)
        while some := list(islice(rest, _LINES_AT_ONCE)):
            said = self._server.write("\n".join(some))
            words = words or said
        return words

    def rows(
        self, key: SeriesKey, start_ms: int, end_ms: int, measurement: str, more: str = ""
    ) -> str:
        """The server's answer: `_field`, `_time` and `_value` of one series over a window."""
        return self._server.query(
            f"{self._from(start_ms, end_ms, measurement)} "
            f"and r.probe == {_quoted(probe_tag(key.probe))} "
            f"and r.quantity == {_quoted(key.quantity.value)}) {more}"
            '|> keep(columns: ["_field", "_time", "_value"])'
        )

    def _not_kept(self, refused: Mapping[SeriesKey, Columns], words: str | None) -> str:
        first_ms = min(one.at_ms[0] for one in refused.values())
        oldest = datetime.fromtimestamp(first_ms / 1000, UTC)
        said = f"it says: {words}" if words else "it says nothing"
        return (
            f"{self.name}: bucket {self._server.bucket} does not keep "
            f"{sum(map(len, refused.values()))} readings, "
            f"the oldest of {oldest:%Y-%m-%dT%H:%MZ} ({said}); give the bucket a longer retention"
        )

    def _some(self, key: SeriesKey, start_ms: int, end_ms: int) -> Columns:
        """The first readings of the window, so many at most as are well read at once."""
        most = f"|> limit(n: {self._rows_at_once}) "
        return columns_of(self.rows(key, start_ms, end_ms, MEASUREMENT, most))

    def of_each_series(
        self,
        what: str,
        column: str,
        field: str = "raw",
        measurement: str = MEASUREMENT,
        *,
        since_ms: int = FIRST_MS,
    ) -> dict[SeriesKey, str]:
        """One value of every series: a column of what a Flux function makes of a field."""
        flux = (
            f"{self._from(since_ms, END_MS, measurement)} and r._field == {_quoted(field)}) "
            f"|> {what} |> keep(columns: {_listed('probe', 'quantity', column)})"
        )
        found = {}
        for rows in tables_of(self._server.query(flux)):
            for probe, quantity, text in zip(
                rows["probe"], rows["quantity"], rows[column], strict=True
            ):
                found[self._key(probe, quantity)] = text
        return found

    def _from(self, start_ms: int, end_ms: int, measurement: str) -> str:
        """A script's beginning, open for more conditions."""
        # 1.8 takes the stop in where it aggregates by itself: a nanosecond less is right for both.
        # And a start of 1970 or before it takes for "from ever".
        since = (
            f" and r._time >= time(v: {start_ms * 1_000_000})" if FIRST_MS < start_ms <= 0 else ""
        )
        return (
            f"from(bucket: {_quoted(self._server.bucket)}) "
            f"|> range(start: time(v: {start_ms * 1_000_000}), "
            f"stop: time(v: {end_ms * 1_000_000 - 1})) "
            f"|> filter(fn: (r) => r._measurement == {_quoted(measurement)}{since}"
        )

    def _key(self, probe: str, quantity: str) -> SeriesKey:
        try:
            return SeriesKey(probe_of(probe), Quantity(quantity))
        except ValueError as fault:
            raise StoreFault(
                f"{self.name}: {MEASUREMENT!r} has a series that is not ours: {fault}"
            ) from fault


def _quoted(text: str) -> str:
    """A Flux string. Probe tags and bucket names hold nothing that would need escaping."""
    return f'"{text}"'


def _listed(*names: str) -> str:
    return f"[{', '.join(map(_quoted, names))}]"
