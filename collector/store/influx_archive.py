"""The archive in an InfluxDB, version 2, or 1.8 through the same calls.

InfluxDB lets the last of two readings of one series and time stay. So a write first looks at what
is there and writes only what is not; afterwards it looks again, since a bucket may drop in silence
what is older than it keeps. Only when two write one reading in the same moment the later one
stays; they then hold the same message, and so the same value.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from collector.readings import Quantity, SeriesKey
from collector.store.archive import ArchiveRefused, Span, Written
from collector.store.columns import Columns
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
_ROWS_AT_ONCE = 250_000


class InfluxArchive:
    """An `Archive` on a server. May be used from several threads."""

    def __init__(self, settings: ArchiveSettings, *, rows_at_once: int = _ROWS_AT_ONCE) -> None:
        """Nothing is asked of the server yet. Raises BadSettings."""
        self._server = InfluxServer(settings)
        self._rows_at_once = rows_at_once
        self._lock = threading.RLock()

    @property
    def name(self) -> str:
        """What and where it is, for a line to the keeper."""
        return self._server.name

    def write(self, batch: Mapping[SeriesKey, Columns]) -> Written:
        """See `Archive.write`. A day at a time, so that a look never gives more than a day."""
        by_day: dict[int, dict[SeriesKey, Columns]] = defaultdict(dict)
        for key, columns in batch.items():
            refuse_unfit(columns)
            for day, part in columns.days():
                by_day[day][key] = part
        written, refused, words = Written(), Columns(), None
        with self._lock:
            for day in sorted(by_day):
                missing, said = self._write_day(by_day[day], written)
                for one in missing:
                    refused = refused.merged(one)
                words = words or said
        if refused:
            raise ArchiveRefused(self._not_kept(refused, words))
        return written

    def series(self) -> dict[SeriesKey, Span]:
        """See `Archive.series`."""
        counts = self._of_each_series("count()", "_value")
        firsts = self._of_each_series("first()", "_time")
        lasts = self._of_each_series("last()", "_time")
        return {
            key: Span(int(count), *times_ms([firsts[key], lasts[key]]))
            for key, count in counts.items()
            if key in firsts and key in lasts
        }

    def last_times(self, since_ms: int = FIRST_MS) -> dict[SeriesKey, int]:
        """The time of the newest reading, from `since_ms` on, of every series that has one."""
        lasts = self._of_each_series("last()", "_time", since_ms)
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

    def close(self) -> None:
        """Let go of the connections."""
        with self._lock:
            self._server.close()

    def _write_day(
        self, parts: Mapping[SeriesKey, Columns], written: Written
    ) -> tuple[list[Columns], str | None]:
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
        lines = [line for key, new in fresh.items() for line in lines_of(key, new)]
        words = None
        for start in range(0, len(lines), _LINES_AT_ONCE):
            said = self._server.write("\n".join(lines[start : start + _LINES_AT_ONCE]))
            words = words or said
        missing = []
        for key, new in fresh.items():
            lost = new.without(self.columns(key, new.at_ms[0], new.at_ms[-1] + 1))
            written.new += len(new) - len(lost)
            if lost:
                missing.append(lost)
        return missing, words

    def _not_kept(self, refused: Columns, words: str | None) -> str:
        oldest = datetime.fromtimestamp(refused.at_ms[0] / 1000, UTC)
        said = f"it says: {words}" if words else "it says nothing"
        return (
            f"{self.name}: bucket {self._server.bucket} does not keep {len(refused)} readings, "
            f"the oldest of {oldest:%Y-%m-%dT%H:%MZ} ({said}); give the bucket a longer retention"
        )

    def _some(self, key: SeriesKey, start_ms: int, end_ms: int) -> Columns:
        """The first readings of the window, so many at most as are well read at once."""
        flux = (
            f"{self._from(start_ms, end_ms)} and r.probe == {_quoted(probe_tag(key.probe))} "
            f"and r.quantity == {_quoted(key.quantity.value)}) "
            f"|> limit(n: {self._rows_at_once}) "
            '|> keep(columns: ["_field", "_time", "_value"])'
        )
        return columns_of(self._server.query(flux))

    def _of_each_series(
        self, what: str, column: str, since_ms: int = FIRST_MS
    ) -> dict[SeriesKey, str]:
        flux = (
            f'{self._from(since_ms, END_MS)} and r._field == "raw") |> {what} '
            f"|> keep(columns: {_listed('probe', 'quantity', column)})"
        )
        found = {}
        for rows in tables_of(self._server.query(flux)):
            for probe, quantity, text in zip(
                rows["probe"], rows["quantity"], rows[column], strict=True
            ):
                found[self._key(probe, quantity)] = text
        return found

    def _from(self, start_ms: int, end_ms: int) -> str:
        """A script's beginning, open for more conditions."""
        return (
            f"from(bucket: {_quoted(self._server.bucket)}) "
            f"|> range(start: time(v: {start_ms * 1_000_000}), "
            f"stop: time(v: {end_ms * 1_000_000})) "
            f"|> filter(fn: (r) => r._measurement == {_quoted(MEASUREMENT)}"
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
