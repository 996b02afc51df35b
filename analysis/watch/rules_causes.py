"""One fault, one alarm: from which other alarm an alarm follows. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from analysis.watch.rule_figures import FALLS_TOGETHER_MS, GATHER_MS, Rules
from analysis.watch.states import Alarm, AlarmKey, Kind

HOME_CAUSES = frozenset(
    {Kind.SEVERAL_COOLING, Kind.SEVERAL_SILENT, Kind.COLLECTOR_SILENT, Kind.BROKER_AWAY,
     Kind.LINE_AWAY, Kind.NOT_WRITTEN, Kind.CLOCK_UNSURE}
)  # fmt: skip
"""Alarms of the home, from which alarms of enclosures and probes follow."""
CAUSES = HOME_CAUSES | {Kind.PROBE_DOUBTED, Kind.PROBE_STUCK, Kind.TOO_HOT}


def cause_of(alarm: Alarm, alarms: Mapping[AlarmKey, Alarm], rules: Rules) -> AlarmKey | None:
    """The standing alarm that `alarm` follows from; that one follows from none itself."""
    for cause in _candidates(alarm, alarms):
        if cause.standing and cause.key != alarm.key and _fits(alarm, cause, rules):
            return cause.under or cause.key
    return None


def _candidates(alarm: Alarm, alarms: Mapping[AlarmKey, Alarm]) -> Iterator[Alarm]:
    key = alarm.key
    names: tuple[AlarmKey, ...] = ()
    if key.kind is Kind.WARM_SIDE_LOW:
        names = (AlarmKey(Kind.SEVERAL_COOLING),)
    elif key.kind is Kind.COOL_SIDE_WARM:
        names = (AlarmKey(Kind.TOO_HOT, key.enclosure),)
    elif key.kind is Kind.NO_READINGS:
        names = (
            AlarmKey(Kind.PROBE_DOUBTED, key.enclosure, key.probe),
            AlarmKey(Kind.PROBE_STUCK, key.enclosure, key.probe),
            AlarmKey(Kind.COLLECTOR_SILENT),
            AlarmKey(Kind.NOT_WRITTEN),
            AlarmKey(Kind.CLOCK_UNSURE),
            AlarmKey(Kind.BROKER_AWAY),
            *(k for k in alarms if k.kind is Kind.LINE_AWAY),
            AlarmKey(Kind.SEVERAL_SILENT),
        )
    return (alarms[name] for name in names if name in alarms)


def _fits(alarm: Alarm, cause: Alarm, rules: Rules) -> bool:
    """True when the one began when the other could have brought it about."""
    if alarm.since_ms is None or cause.since_ms is None:
        return False
    later_ms = alarm.since_ms - cause.since_ms
    match cause.key.kind:
        case Kind.SEVERAL_COOLING:
            return later_ms >= -FALLS_TOGETHER_MS
        case Kind.BROKER_AWAY | Kind.LINE_AWAY:
            return abs(later_ms) <= rules.away_ms
        case Kind.SEVERAL_SILENT:
            return abs(later_ms) <= GATHER_MS
        case Kind.COLLECTOR_SILENT | Kind.NOT_WRITTEN | Kind.CLOCK_UNSURE:  # readings wait
            return later_ms >= -rules.away_ms
        case _:
            return True
