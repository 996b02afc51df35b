"""The snapshot that the rules judge, from the readings and the roster. No rule is here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from analysis.watch.phrases import LastWord
from analysis.watch.roster import Roster
from analysis.watch.rule_figures import Rules
from analysis.watch.rules import PlacedProbe, Snapshot, WarmSide
from analysis.watch.states import DAY_MS, HOUR_MS, Alarm, AlarmKey, Kind
from analysis.watch.zone_value import Placed, zone_points
from collector.book.records import Placement, Zone
from collector.readings import Flag, Quantity, Reading, SeriesKey
from collector.store.reader import Reader

MOST_LATE_MS = DAY_MS
"""Readings older than this are not judged any more, however long the watch was off."""
_SEARCH_MS = (2 * HOUR_MS, DAY_MS, 8 * DAY_MS)
_LATE_ARRIVAL_MS = HOUR_MS // 4


@dataclass(frozen=True, slots=True)
class Gathered:
    """The snapshot, and what each placed probe said last."""

    snapshot: Snapshot
    last_words: dict[str, LastWord]


@dataclass(frozen=True, slots=True)
class _Heard:
    """The last usable reading found, and up to when was looked."""

    searched_ms: int
    at_ms: int | None = None
    value_c: float | None = None


class Gatherer:
    """Gathers from one home's readings. Remembers where a silent probe was last heard."""

    def __init__(self, reader: Reader, rules: Rules) -> None:
        self._reader = reader
        self._rules = rules
        self._heard: dict[SeriesKey, _Heard] = {}

    def gather(
        self,
        roster: Roster,
        alarms: Mapping[AlarmKey, Alarm],
        watching_since_ms: int,
        now_ms: int,
    ) -> Gathered:
        """Everything that the rules need at `now_ms`. Raises StoreFault."""
        latest = self._reader.latest()
        now_placed = [p for p in roster.placed_at(now_ms) if _measures_warmth(p.probe, latest)]
        last_words = {p.probe: self._last_word(p.probe, latest, now_ms) for p in now_placed}
        probes = [
            PlacedProbe(p.probe, p.enclosure, p.zone, p.since_ms, last_words[p.probe].at_ms)
            for p in now_placed
        ]
        enclosures = sorted({p.enclosure for p in now_placed if p.zone is Zone.WARM_SIDE})
        warm_sides = [self._warm_side(e, roster, alarms, now_ms) for e in enclosures]
        return Gathered(Snapshot(warm_sides, probes, watching_since_ms), last_words)

    # ---- the warm side ----------------------------------------------------------------------

    def _warm_side(
        self, enclosure: str, roster: Roster, alarms: Mapping[AlarmKey, Alarm], now_ms: int
    ) -> WarmSide:
        alarm = alarms.get(AlarmKey(Kind.WARM_SIDE_LOW, enclosure))
        seen_ms = alarm.trail.seen_ms if alarm else now_ms - self._rules.lookback_ms
        after_ms = max(seen_ms, now_ms - MOST_LATE_MS)
        start_ms = after_ms - self._rules.gap_ms
        placed = [
            self._placed(p, start_ms, now_ms)
            for p in roster.placements
            if p.enclosure == enclosure and p.zone is Zone.WARM_SIDE
            and p.since_ms <= now_ms and (p.until_ms is None or p.until_ms > start_ms)
        ]  # fmt: skip
        points = zone_points(placed, self._rules.gap_ms, after_ms)
        return WarmSide(enclosure, points, roster.digesting.get(enclosure, ()))

    def _placed(self, placement: Placement, start_ms: int, now_ms: int) -> Placed:
        key = SeriesKey(placement.probe, Quantity.TEMPERATURE)
        return Placed(placement, self._reader.columns(key, start_ms, now_ms + 1))

    # ---- when a probe was last heard --------------------------------------------------------

    def _last_word(self, probe: str, latest: Mapping[SeriesKey, Reading], now_ms: int) -> LastWord:
        key = SeriesKey(probe, Quantity.TEMPERATURE)
        newest = latest.get(key)
        if newest is None:
            return LastWord()
        if newest.usable and newest.at_ms <= now_ms:
            heard = _Heard(now_ms, newest.at_ms, newest.value)
        else:
            heard = self._search(key, now_ms)
        self._heard[key] = heard
        goes_on = now_ms - newest.at_ms <= self._rules.silence_ms
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


def _measures_warmth(probe: str, latest: Mapping[SeriesKey, Reading]) -> bool:
    """False for a probe that has only ever given something else, such as humidity."""
    quantities = {key.quantity for key in latest if key.probe == probe}
    return not quantities or Quantity.TEMPERATURE in quantities
