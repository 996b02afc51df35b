"""One evaluation after another: gather, judge, keep the changes with their messages."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace

from analysis.watch.alarm_store import AlarmStore, PastTransition, Watching
from analysis.watch.facts import Facts
from analysis.watch.gather import MOST_LATE_MS, Gathered, Gatherer
from analysis.watch.phrases import Names
from analysis.watch.roster import Roster, RosterReader
from analysis.watch.rule_figures import CHATTER_MS, Rules
from analysis.watch.rules import Evaluation, Memory, evaluate
from analysis.watch.rules_run import FLOOD
from analysis.watch.rules_snapshot import Snapshot
from analysis.watch.rules_together import SEVERAL_COOLING, after_restart
from analysis.watch.states import MINUTE_MS, Alarm, AlarmKey, Cause, Trail, Transition
from analysis.watch.texts import messages_of
from collector.clock import Clock
from config.settings import Settings

CHECKPOINT_MS = 5 * MINUTE_MS
"""How often it is written down that the watch runs: seldom, for the card's sake."""
_CLOCK_STEP_MS = MINUTE_MS
_HOLD_SECONDS = 600.0
_LOG = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Parts:
    """What a watcher works with."""

    settings: Settings
    rules: Rules
    store: AlarmStore
    gatherer: Gatherer
    rosters: RosterReader
    facts: Facts
    addresses: Collection[str] = ()
    others: Collection[str] = ()


class Watcher:
    """The watch of one home. Each `cycle` is one evaluation."""

    def __init__(
        self, parts: Parts, clock: Clock, monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        self._parts = parts
        self._clock = clock
        self._monotonic = monotonic
        self._started_s = monotonic()
        self._alarms: dict[AlarmKey, Alarm] = {}
        self._memory = Memory()
        self._watching: Watching | None = None
        self._seen_ms = 0
        self._checkpoint_s = 0.0
        self._wall_minus_monotonic_ms = 0.0
        self._said: set[str] = set()
        self._snapshot: Snapshot | None = None

    @property
    def alarms(self) -> Mapping[AlarmKey, Alarm]:
        """Every alarm as it stands after the last evaluation."""
        return self._alarms

    @property
    def snapshot(self) -> Snapshot | None:
        """What the last evaluation was told; None before the first."""
        return self._snapshot

    def cycle(self) -> list[Transition]:
        """Evaluate once. Raises StoreFault; then nothing has changed and the next one repeats."""
        if not self._believe_clock():
            self._say_once("the clock is not sure yet; the watch waits for it")
            return []
        now_ms = self._clock.now_ms()
        self._begin_or_notice_steps(now_ms)
        roster = self._parts.rosters.roster(now_ms)
        transitions: list[Transition] = []
        if roster is None:
            self._say_once("there is no record book yet: no probe has a place, nothing to watch")
        else:
            transitions = self._evaluate(roster, now_ms)
        self._see(now_ms)
        return transitions

    def checkpoint(self) -> None:
        """Write down how far the watch has come. Raises StoreFault."""
        if self._watching is not None:
            self._parts.store.checkpoint(self._watching, self._alarms.values())
            self._checkpoint_s = self._monotonic()

    # ---- judging ----------------------------------------------------------------------------

    def _evaluate(self, roster: Roster, now_ms: int) -> list[Transition]:
        since_ms = self._watching.since_ms if self._watching else now_ms
        gathered = self._parts.gatherer.gather(
            roster,
            self._alarms,
            watching_since_ms=since_ms,
            seen_ms=self._seen_ms,
            now_ms=now_ms,
        )
        self._snapshot = self._with_facts(gathered, now_ms)
        result = evaluate(
            self._snapshot,
            self._alarms,
            self._parts.rules,
            now_ms,
            requests=self._parts.store.requests(),
            memory=self._memory,
        )
        if result.transitions or result.settled:
            self._keep(result, roster, gathered, now_ms)
        self._alarms, self._memory = result.alarms, result.memory
        return result.transitions

    def _with_facts(self, gathered: Gathered, now_ms: int) -> Snapshot:
        account = self._parts.facts.account()
        own = self._parts.facts.series(account, clock_sure=self._clock.sure(), now_ms=now_ms)
        snapshot = gathered.snapshot
        return replace(
            snapshot,
            series=[*snapshot.series, *own],
            sources=account.sources,
            collector_ended=account.ended,
        )

    def _keep(self, result: Evaluation, roster: Roster, gathered: Gathered, now_ms: int) -> None:
        names = Names(
            self._parts.settings,
            roster.rooms,
            {p.probe: p.zone.value for p in roster.placed_at(now_ms)},
            gathered.last_words,
            self._parts.facts.hours_to_full(),
        )
        messages = messages_of(result.transitions, names)
        self._parts.store.record(
            result.transitions, messages, self._parts.addresses, now_ms, result.settled
        )
        for message in messages:
            _LOG.warning("%s (message %s)", message.title, message.reference)

    # ---- time -------------------------------------------------------------------------------

    def _believe_clock(self) -> bool:
        """A board that wakes in the past must not judge then; one whose clock was ahead and was
        put right must not wait for ever."""
        return self._clock.sure() or self._monotonic() - self._started_s > _HOLD_SECONDS

    def _begin_or_notice_steps(self, now_ms: int) -> None:
        difference_ms = now_ms - self._monotonic() * 1000.0
        if self._watching is None:
            self._begin(now_ms)
        elif abs(difference_ms - self._wall_minus_monotonic_ms) > _CLOCK_STEP_MS:
            _LOG.warning("the clock was changed, or the machine slept; silences count from now")
            self._watching = Watching(now_ms, now_ms)
            # What was judged in a time that is still to come says nothing about the readings now.
            for key, alarm in self._alarms.items():
                if alarm.trail.seen_ms > now_ms:
                    self._alarms[key] = replace(alarm, trail=Trail(from_ms=now_ms))
        self._wall_minus_monotonic_ms = difference_ms

    def _begin(self, now_ms: int) -> None:
        """Take up where the last watch ended."""
        store, rules = self._parts.store, self._parts.rules
        before = store.watching()
        pause_ms = rules.silence_ms + 2 * CHECKPOINT_MS
        unbroken = before is not None and 0 <= now_ms - before.seen_ms <= pause_ms
        since_ms = before.since_ms if before is not None and unbroken else now_ms
        seen_ms = min(before.seen_ms, now_ms) if before is not None else now_ms
        for key, alarm in store.alarms().items():
            earliest_ms = seen_ms - rules.lookback_ms(key.kind, key.enclosure)
            earliest_ms = max(alarm.trail.from_ms, earliest_ms, now_ms - MOST_LATE_MS)
            trail = replace(alarm.trail, from_ms=min(earliest_ms, now_ms))
            self._alarms[key] = replace(alarm, trail=trail)
        together = self._alarms.get(SEVERAL_COOLING, Alarm(SEVERAL_COOLING))
        self._alarms[SEVERAL_COOLING] = after_restart(together, seen_ms)
        self._memory = memory_of(store.transitions(seen_ms - CHATTER_MS))
        store.begin(self._parts.addresses, now_ms, self._parts.others)
        self._seen_ms = seen_ms
        self._watching = Watching(since_ms, now_ms)
        self._checkpoint_s = -CHECKPOINT_MS / 1000.0  # the first is due at once

    def _see(self, now_ms: int) -> None:
        if self._watching is not None:
            self._watching = Watching(self._watching.since_ms, now_ms)
        self._seen_ms = now_ms
        if self._monotonic() - self._checkpoint_s >= CHECKPOINT_MS / 1000.0:
            self.checkpoint()

    def _say_once(self, words: str) -> None:
        if words not in self._said:
            self._said.add(words)
            _LOG.warning("%s", words)


def memory_of(transitions: Iterable[PastTransition]) -> Memory:
    """What the rules have to know of the last hour, from what was kept of it."""
    raised: dict[AlarmKey, tuple[int, ...]] = {}
    ended: dict[AlarmKey, tuple[int, ...]] = {}
    called = []
    for one in transitions:
        if one.cause is Cause.RAISED:
            raised[one.key] = (*raised.get(one.key, ()), one.at_ms)
        elif not one.after.standing and one.before.standing:
            ended[one.key] = (*ended.get(one.key, ()), one.at_ms)
        if one.cause.calls and (one.told or one.withheld) and one.key != FLOOD:
            called.append(one.at_ms)
    return Memory(raised, ended, tuple(called))
