"""The snapshot that the rules judge, from the readings and the roster. No rule is here."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from analysis.watch.gather_heard import LastHeard
from analysis.watch.gather_series import apart_points, doubted_points, each_minute, stuck_points
from analysis.watch.histories import HISTORY_MS, Minutes
from analysis.watch.looking import Foreteller, look, look_times
from analysis.watch.phrases import LastWord
from analysis.watch.roster import Roster
from analysis.watch.rule_figures import DOUBTED_OVER_MS, Rules
from analysis.watch.rules_falling import Look
from analysis.watch.rules_snapshot import PlacedProbe, Series, Snapshot
from analysis.watch.states import DAY_MS, HOUR_MS, Alarm, AlarmKey, Kind
from analysis.watch.zone_value import Placed, zone_points
from collector.book.records import Placement, Zone
from collector.readings import Quantity, Reading, SeriesKey
from collector.store.columns import Columns
from collector.store.reader import Reader

MOST_LATE_MS = DAY_MS
"""Readings older than this are not judged any more, however long the watch was off."""
_PIECE_MS = 2 * HOUR_MS
_WARM_KINDS = (Kind.WARM_SIDE_LOW, Kind.TOO_HOT)
_AIR_KINDS = (Kind.HUMIDITY_LOW, Kind.HUMIDITY_HIGH)
_PROBE_KINDS = (Kind.PROBE_DOUBTED, Kind.PROBE_STUCK)


@dataclass(frozen=True, slots=True)
class Gathered:
    """The snapshot, and what each placed probe said last."""

    snapshot: Snapshot
    last_words: dict[str, LastWord]


@dataclass(slots=True)
class _Cycle:
    """What one gathering works with. `seen_ms`: up to when the watch had come before."""

    roster: Roster
    alarms: Mapping[AlarmKey, Alarm]
    seen_ms: int
    now_ms: int
    read: dict[SeriesKey, tuple[int, Columns]] = field(default_factory=dict)


class Gatherer:
    """Gathers from one home's readings. Remembers how the warm sides and the rooms have been."""

    def __init__(self, reader: Reader, rules: Rules, foretell: Foreteller) -> None:
        self._reader = reader
        self._rules = rules
        self._foretell = foretell
        self._heard = LastHeard(reader, rules.silence_ms)
        self._minutes: dict[tuple[str, Zone], Minutes] = {}

    def gather(
        self,
        roster: Roster,
        alarms: Mapping[AlarmKey, Alarm],
        *,
        watching_since_ms: int,
        seen_ms: int,
        now_ms: int,
    ) -> Gathered:
        """Everything of probes that the rules need at `now_ms`. Raises StoreFault."""
        cycle = _Cycle(roster, alarms, seen_ms, now_ms)
        latest = self._reader.latest()
        measured = _quantities(latest)
        now_placed = roster.placed_at(now_ms)
        warmth = [
            p for p in now_placed if _measures(p, Quantity.TEMPERATURE, measured, or_none=True)
        ]
        air = [p for p in now_placed if _measures(p, Quantity.HUMIDITY, measured)]
        last_words = {p.probe: self._heard.last_word(p.probe, latest, now_ms) for p in warmth}
        probes = [_placed_probe(p, last_words[p.probe], latest) for p in warmth]
        series = list(self._series(cycle, warmth, air))
        snapshot = Snapshot(series, probes, watching_since_ms, roster.digesting)
        return Gathered(snapshot, last_words)

    # ---- the series -------------------------------------------------------------------------

    def _series(
        self, cycle: _Cycle, warmth: Sequence[Placement], air: Sequence[Placement]
    ) -> Iterator[Series]:
        for enclosure in _enclosures(warmth, Zone.WARM_SIDE):
            yield from self._warm_side(cycle, enclosure)
        for enclosure in _enclosures(warmth, Zone.COOL_SIDE):
            yield from self._of_zone(cycle, enclosure, (Kind.COOL_SIDE_WARM,), (Zone.COOL_SIDE,))
        inside = tuple(zone for zone in Zone if zone is not Zone.ROOM)
        for enclosure in sorted({p.enclosure for p in air if p.zone is not Zone.ROOM}):
            yield from self._of_zone(cycle, enclosure, _AIR_KINDS, inside, Quantity.HUMIDITY)
        for key in _shared_zones(warmth):
            yield from self._apart(cycle, key)
        for placement in warmth:
            yield from self._of_probe(cycle, placement)

    def _warm_side(self, cycle: _Cycle, enclosure: str) -> Iterator[Series]:
        low = AlarmKey(Kind.WARM_SIDE_LOW, enclosure)
        for series in self._of_zone(cycle, enclosure, _WARM_KINDS, (Zone.WARM_SIDE,)):
            if series.key != low:
                yield series
                continue
            alarm = cycle.alarms.get(low)
            looked_ms = alarm.trail.fall.look_ms if alarm else None
            seen_ms = self._after_ms(cycle, low) if looked_ms is None else looked_ms
            looks = self._looks(cycle, enclosure, series.points, seen_ms)
            yield Series(low, series.points, looks)

    def _of_zone(
        self,
        cycle: _Cycle,
        enclosure: str,
        kinds: Iterable[Kind],
        zones: tuple[Zone, ...],
        quantity: Quantity = Quantity.TEMPERATURE,
    ) -> Iterator[Series]:
        keys = self._judged(cycle, [AlarmKey(kind, enclosure) for kind in kinds])
        if not keys:
            return
        after_ms = min(self._after_ms(cycle, key) for key in keys)
        placed = self._placed(cycle, enclosure, zones, quantity, after_ms)
        points = zone_points(placed, self._rules.gap_ms, after_ms)
        if quantity is Quantity.HUMIDITY:
            points = each_minute(points, after_ms)
        for key in keys:
            yield Series(key, points)

    def _apart(self, cycle: _Cycle, key: AlarmKey) -> Iterator[Series]:
        for one in self._judged(cycle, [key]):
            after_ms = self._after_ms(cycle, one)
            zone = Zone(key.probe or "")
            placed = self._placed(cycle, key.enclosure, (zone,), Quantity.TEMPERATURE, after_ms)
            apart = apart_points(placed, self._rules.gap_ms, after_ms)
            yield Series(one, each_minute(apart, after_ms))

    def _of_probe(self, cycle: _Cycle, placement: Placement) -> Iterator[Series]:
        names = [AlarmKey(kind, placement.enclosure, placement.probe) for kind in _PROBE_KINDS]
        for key in self._judged(cycle, names):
            after_ms = max(self._after_ms(cycle, key), placement.since_ms - 1)
            columns = self._columns(
                cycle, placement.probe, Quantity.TEMPERATURE, after_ms - DOUBTED_OVER_MS
            )
            if key.kind is Kind.PROBE_DOUBTED:
                points = doubted_points(columns, DOUBTED_OVER_MS, after_ms)
            else:
                points = stuck_points(columns, after_ms)
            yield Series(key, each_minute(points, after_ms))

    def _judged(self, cycle: _Cycle, keys: Iterable[AlarmKey]) -> list[AlarmKey]:
        """Without those out of service."""
        return [k for k in keys if not (k in cycle.alarms and cycle.alarms[k].out_of_service)]

    def _after_ms(self, cycle: _Cycle, key: AlarmKey) -> int:
        """After when its readings are still to be judged."""
        alarm = cycle.alarms.get(key)
        if alarm is not None and alarm.trail.seen_ms:
            seen_ms = alarm.trail.seen_ms
        else:
            seen_ms = cycle.seen_ms - self._rules.lookback_ms(key.kind, key.enclosure)
        return max(seen_ms, cycle.now_ms - MOST_LATE_MS)

    def _placed(
        self,
        cycle: _Cycle,
        enclosure: str,
        zones: tuple[Zone, ...],
        quantity: Quantity,
        after_ms: int,
    ) -> list[Placed]:
        start_ms = after_ms - self._rules.gap_ms
        return [
            Placed(p, self._columns(cycle, p.probe, quantity, start_ms))
            for p in self._lying(cycle, enclosure, zones, start_ms)
        ]

    @staticmethod
    def _lying(
        cycle: _Cycle, enclosure: str, zones: tuple[Zone, ...], start_ms: int
    ) -> list[Placement]:
        """The placements there that hold at some time since then."""
        return [
            p for p in cycle.roster.placements
            if p.enclosure == enclosure and p.zone in zones
            and p.since_ms <= cycle.now_ms and (p.until_ms is None or p.until_ms > start_ms)
        ]  # fmt: skip

    def _columns(self, cycle: _Cycle, probe: str, quantity: Quantity, start_ms: int) -> Columns:
        """The readings from then on, or from earlier; as a rule each is read once in a cycle."""
        key = SeriesKey(probe, quantity)
        known = cycle.read.get(key)
        if known is not None and known[0] <= start_ms:
            return known[1]
        from_ms = min(start_ms, cycle.seen_ms - self._rules.gap_ms)
        columns = self._reader.columns(key, from_ms, cycle.now_ms + 1)
        cycle.read[key] = (from_ms, columns)
        return columns

    # ---- looks at a fall --------------------------------------------------------------------

    def _looks(
        self,
        cycle: _Cycle,
        enclosure: str,
        points: Sequence[tuple[int, float]],
        seen_ms: int,
    ) -> list[Look]:
        times = list(look_times(points, seen_ms))
        if not times:
            return []
        from_ms = times[0] - HISTORY_MS
        warm = self._history(cycle, enclosure, Zone.WARM_SIDE, from_ms)
        room = self._room(cycle, enclosure, from_ms)
        floor_c = self._rules.of(enclosure).falling.floor_c
        looks = [look(warm, room, at_ms, floor_c, self._foretell) for at_ms in times]
        return [one for one in looks if one is not None]

    def _room(self, cycle: _Cycle, enclosure: str, from_ms: int) -> Minutes | None:
        """The room that the enclosure stands in: a room probe of its own, or of its room."""
        room = cycle.roster.rooms.get(enclosure)
        places = [
            p.enclosure
            for p in cycle.roster.placed_at(cycle.now_ms)
            if p.zone is Zone.ROOM
            and (p.enclosure == enclosure or (room and cycle.roster.rooms.get(p.enclosure) == room))
        ]
        if not places:
            return None
        place = enclosure if enclosure in places else min(places)
        return self._history(cycle, place, Zone.ROOM, from_ms)

    def _history(self, cycle: _Cycle, enclosure: str, zone: Zone, from_ms: int) -> Minutes:
        name = (enclosure, zone)
        minutes = self._minutes.get(name)
        if minutes is None or minutes.upto_ms > cycle.now_ms:  # the clock was put back
            minutes = self._minutes[name] = Minutes.since(from_ms)
        start_ms = max(minutes.upto_ms, from_ms)
        for after_ms in range(start_ms, cycle.now_ms, _PIECE_MS):
            until_ms = min(after_ms + _PIECE_MS, cycle.now_ms)
            minutes.add(self._piece(cycle, enclosure, zone, after_ms, until_ms))
        minutes.forget_before(from_ms)
        return minutes

    def _piece(
        self, cycle: _Cycle, enclosure: str, zone: Zone, after_ms: int, until_ms: int
    ) -> list[tuple[int, float]]:
        """A day at once would be megabytes of points that are means a moment later."""
        start_ms = after_ms - self._rules.gap_ms
        placed = [
            Placed(p, self._reader.columns(
                SeriesKey(p.probe, Quantity.TEMPERATURE), start_ms, until_ms + 1))
            for p in self._lying(cycle, enclosure, (zone,), start_ms)
        ]  # fmt: skip
        return zone_points(placed, self._rules.gap_ms, after_ms)


def _quantities(latest: Mapping[SeriesKey, Reading]) -> dict[str, set[Quantity]]:
    found: dict[str, set[Quantity]] = {}
    for key in latest:
        found.setdefault(key.probe, set()).add(key.quantity)
    return found


def _measures(
    placement: Placement,
    quantity: Quantity,
    measured: Mapping[str, set[Quantity]],
    *,
    or_none: bool = False,
) -> bool:
    """False for a probe that has only ever given something else. `or_none`: what one that never
    gave anything should have given."""
    given = measured.get(placement.probe)
    return or_none if not given else quantity in given


def _placed_probe(
    placement: Placement, last: LastWord, latest: Mapping[SeriesKey, Reading]
) -> PlacedProbe:
    newest = latest.get(SeriesKey(placement.probe, Quantity.TEMPERATURE))
    return PlacedProbe(
        placement.probe, placement.enclosure, placement.zone, placement.since_ms, last.at_ms,
        newest.at_ms if newest else None,
    )  # fmt: skip


def _enclosures(placements: Iterable[Placement], zone: Zone) -> list[str]:
    return sorted({p.enclosure for p in placements if p.zone is zone})


def _shared_zones(placements: Sequence[Placement]) -> list[AlarmKey]:
    """One key for each zone in which several probes lie."""
    places = [(p.enclosure, p.zone) for p in placements]
    shared = sorted({place for place in places if places.count(place) > 1})
    return [AlarmKey(Kind.PROBES_DISAGREE, enclosure, zone.value) for enclosure, zone in shared]
