"""When each probe was last heard, also where it goes on with readings that cannot be used."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from analysis.watch.phrases import LastWord
from analysis.watch.states import DAY_MS, HOUR_MS
from collector.readings import Flag, Quantity, Reading, SeriesKey
from collector.store.reader import Reader

_SEARCH_MS = (2 * HOUR_MS, DAY_MS, 8 * DAY_MS)
_LATE_ARRIVAL_MS = HOUR_MS // 4


@dataclass(frozen=True, slots=True)
class _Heard:
    """The last usable reading found, and up to when was looked."""

    searched_ms: int
    at_ms: int | None = None
    value_c: float | None = None


class LastHeard:
    """Remembers where a silent probe was last heard: it is looked for once."""

    def __init__(self, reader: Reader, silence_ms: int) -> None:
        self._reader = reader
        self._silence_ms = silence_ms
        self._heard: dict[SeriesKey, _Heard] = {}

    def last_word(self, probe: str, latest: Mapping[SeriesKey, Reading], now_ms: int) -> LastWord:
        """Its newest usable temperature, and whether it goes on with doubted ones."""
        key = SeriesKey(probe, Quantity.TEMPERATURE)
        newest = latest.get(key)
        if newest is None:
            return LastWord()
        if newest.usable and newest.at_ms <= now_ms:
            heard = _Heard(now_ms, newest.at_ms, newest.value)
        else:
            heard = self._search(key, now_ms)
        self._heard[key] = heard
        goes_on = now_ms - newest.at_ms <= self._silence_ms
        return LastWord(heard.at_ms, heard.value_c, newest.flags if goes_on else Flag.NONE)

    def _search(self, key: SeriesKey, now_ms: int) -> _Heard:
        """The newest reading is doubted, or of a time to come: look for the last usable one."""
        known = self._heard.get(key)
        if known is not None and known.searched_ms <= now_ms:
            start_ms = known.searched_ms - _LATE_ARRIVAL_MS
            found = self._last_usable(key, start_ms, now_ms)
            return found or _Heard(now_ms, known.at_ms, known.value_c)
        for span_ms in _SEARCH_MS:
            found = self._last_usable(key, now_ms - span_ms, now_ms)
            if found is not None:
                return found
        return _Heard(now_ms)

    def _last_usable(self, key: SeriesKey, start_ms: int, now_ms: int) -> _Heard | None:
        columns = self._reader.columns(key, start_ms, now_ms + 1)
        index = columns.flags.rfind(Flag.NONE)
        if index < 0:
            return None
        return _Heard(now_ms, columns.at_ms[index], columns.values()[index])
