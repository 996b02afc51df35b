"""A few enclosures made by hypothesis: their values, looks at how they fall, and what keepers ask;
and a watch over them that can be evaluated at any moments, and killed at any."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from hypothesis import strategies as st

from analysis.watch.alarm_store import PastTransition
from analysis.watch.requests import Action, Request
from analysis.watch.rule_figures import rules_of
from analysis.watch.rules import Memory, Series, Snapshot, evaluate
from analysis.watch.rules_falling import Look
from analysis.watch.rules_together import SEVERAL_COOLING, after_restart
from analysis.watch.states import (
    HOUR_MS,
    MINUTE_MS,
    Alarm,
    AlarmKey,
    Digesting,
    Kind,
    Trail,
    Transition,
)
from analysis.watch.watcher import memory_of
from config.care import load_care_profile
from config.settings import Settings

RULES = rules_of(load_care_profile("boa-constrictor"), Settings())
ENCLOSURES = ("Birch", "Larch", "Rowan")
DAY_MS = 24 * HOUR_MS
TOVE = Digesting("Tove", "a 220 g rat", 0, 2 * HOUR_MS, 5 * HOUR_MS)
KINDS = (Kind.WARM_SIDE_LOW, Kind.TOO_HOT, Kind.COOL_SIDE_WARM, Kind.PROBES_DISAGREE)
KEYS = [AlarmKey(kind, name) for name in ENCLOSURES for kind in KINDS]
KEYS += [AlarmKey(Kind.SEVERAL_COOLING), AlarmKey(Kind.FLOOD)]


@dataclass(frozen=True)
class World:
    """All that will happen, in ms since the beginning."""

    series: Sequence[Series]
    requests: Sequence[Request]
    end_ms: int


_VALUES = {
    Kind.WARM_SIDE_LOW: (25.0, 27.9, 28.2, 28.5, 31.0),
    Kind.TOO_HOT: (31.0, 35.8, 36.5, 40.0),
    Kind.COOL_SIDE_WARM: (25.0, 29.7, 30.5),
    Kind.PROBES_DISAGREE: (0.2, 1.8, 2.5),
}


@st.composite
def _series(draw: st.DrawFn, key: AlarmKey, end_min: int) -> Series:
    points, looks, at = [], [], draw(st.integers(1, 3))
    while at < end_min:
        value = draw(st.sampled_from(_VALUES[key.kind]))
        step = draw(st.sampled_from([1, 2, 5, 14, 20]))
        falls = draw(st.sampled_from([0, 0, 1, 2]))
        for _ in range(draw(st.integers(1, 25))):
            at_ms = at * MINUTE_MS + KEYS.index(key)  # no two at once: the order is theirs alone
            points.append((at_ms, value))
            if key.kind is Kind.WARM_SIDE_LOW:
                began = at_ms - 15 * MINUTE_MS if falls else None
                floor = at_ms + HOUR_MS if falls == 2 and value > 28.0 else None
                looks.append(Look(at_ms, value, began, floor))
            at += step
            if at >= end_min:
                break
    return Series(key, points, looks)


@st.composite
def _request(draw: st.DrawFn, number: int, end_min: int) -> Request:
    at_ms = draw(st.integers(1, end_min)) * MINUTE_MS + 900 + number
    action = draw(st.sampled_from(list(Action)))
    until_ms = at_ms + draw(st.integers(1, 90)) * MINUTE_MS if action is Action.SHELVE else None
    return Request(number, at_ms, "Ana", action, draw(st.sampled_from(KEYS)), until_ms)


@st.composite
def worlds(draw: st.DrawFn, *, asked: bool = True) -> World:
    end_min = draw(st.integers(30, 400))
    keys = draw(st.lists(st.sampled_from(KEYS[:-2]), min_size=1, max_size=7, unique=True))
    series = [draw(_series(key, end_min)) for key in keys]
    count = draw(st.integers(0, 6)) if asked else 0
    requests = [draw(_request(number, end_min)) for number in range(count)]
    return World(series, sorted(requests, key=lambda r: r.at_ms), end_min * MINUTE_MS + 5_000)


@dataclass
class Watch:
    """A watch over a world, evaluated now and then."""

    world: World
    alarms: dict[AlarmKey, Alarm] = field(default_factory=dict)
    memory: Memory = field(default_factory=Memory)
    transitions: list[Transition] = field(default_factory=list)
    seen_ms: int = 0

    def evaluate(self, now_ms: int) -> None:
        """One evaluation; what lies within the look-back comes again."""
        series = [self._until(one, now_ms) for one in self.world.series]
        asked = [r for r in self.world.requests if self.seen_ms < r.at_ms <= now_ms]
        snapshot = Snapshot(series, digesting={"Larch": (TOVE,)})
        result = evaluate(snapshot, self.alarms, RULES, now_ms, requests=asked, memory=self.memory)
        self.alarms, self.memory = result.alarms, result.memory
        self.transitions += result.transitions
        self.seen_ms = now_ms

    def _until(self, series: Series, now_ms: int) -> Series:
        alarm = self.alarms.get(series.key)
        after_ms = self.seen_ms - RULES.lookback_ms(series.key.kind, series.key.enclosure)
        if alarm is not None and alarm.trail.seen_ms:
            after_ms = alarm.trail.seen_ms
        return Series(
            series.key,
            [point for point in series.points if after_ms < point[0] <= now_ms],
            [look for look in series.looks if after_ms < look.at_ms <= now_ms],
        )

    def restart(self) -> None:
        """Only what is kept in the file remains."""
        past = [as_kept(t) for t in self.transitions]
        kept = {}
        for key, alarm in self.alarms.items():
            own = [t for t in past if t.key == key]
            if not own:
                continue
            settled = [t.at_ms for t in own if t.cause.by_rule]
            begun = [t.at_ms for t in own if t.cause in ("out of service", "in service")]
            earliest_ms = self.seen_ms - RULES.lookback_ms(key.kind, key.enclosure)
            trail = Trail(max([earliest_ms, *begun]), max(settled, default=None))
            kept[key] = replace(alarm, trail=trail)
        together = kept.get(SEVERAL_COOLING, Alarm(SEVERAL_COOLING))
        kept[SEVERAL_COOLING] = after_restart(together, self.seen_ms)
        self.alarms = kept
        self.memory = memory_of(t for t in past if t.at_ms >= self.seen_ms - HOUR_MS)

    def told(self) -> list[object]:
        """All that a keeper sees of what happened."""
        return [
            (t.alarm.key, t.cause, t.at_ms, t.before, t.alarm.state, t.alarm.priority, t.told,
             t.withheld, t.alarm.under, t.alarm.latched, t.alarm.since_ms, t.names, t.over_ms)
            for t in self.transitions
        ]  # fmt: skip


def as_kept(t: Transition) -> PastTransition:
    return PastTransition(
        t.alarm.key, t.cause, t.before, t.alarm.state, t.alarm.priority, t.at_ms, t.at_ms, t.value,
        t.alarm.lowest, t.who, t.until_ms, t.told, t.withheld,
    )  # fmt: skip


def watched_at_once(world: World) -> Watch:
    """The whole story in one evaluation."""
    watch = Watch(world)
    watch.evaluate(world.end_ms)
    return watch
