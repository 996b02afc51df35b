"""Alarms while they are evaluated: each change passes here, and here it is decided what is told.

A change is not told while the alarm is shelved, or shown under another. An alarm that comes and
goes is held (chattering), and more calls than a person can take in become one (a flood).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from analysis.watch.rule_figures import (
    CHATTER_AT_ONCE_MS,
    CHATTER_MS,
    CHATTER_TIMES,
    FLOOD_ALARMS,
    FLOOD_MS,
    GATHER_MS,
    Rules,
)
from analysis.watch.rules_causes import CAUSES, cause_of
from analysis.watch.rules_snapshot import Memory, Snapshot
from analysis.watch.states import (
    Alarm,
    AlarmKey,
    Cause,
    Digesting,
    Kind,
    Priority,
    State,
    Transition,
)

FLOOD = AlarmKey(Kind.FLOOD)
_NEVER_WITHHELD = (Kind.WARM_SIDE_LOW, Kind.TOO_HOT, Kind.SEVERAL_COOLING, Kind.COLLECTOR_SILENT)


def standing_words(alarms: Iterable[Alarm]) -> tuple[str, ...]:
    """What stands and speaks, the most urgent first, as a flood's message lists it."""
    found = [a for a in alarms if a.standing and a.speaks and a.key != FLOOD]
    found.sort(key=lambda a: (-a.priority, a.key.enclosure, a.key.kind, a.key.probe or ""))
    places = [a.key.enclosure or a.key.probe or "the monitor" for a in found]
    return tuple(f"{p}: {a.key.kind}" for p, a in zip(places, found, strict=True))


class Run:
    """One evaluation at work."""

    def __init__(
        self,
        snapshot: Snapshot,
        alarms: Mapping[AlarmKey, Alarm],
        rules: Rules,
        memory: Memory,
        now_ms: int,
    ) -> None:
        self.snapshot = snapshot
        self.rules = rules
        self.now_ms = now_ms
        self.alarms = dict(alarms)
        self.transitions: list[Transition] = []
        self._raised = dict(memory.raised)
        self._ended = dict(memory.ended)
        self._called = memory.called
        self._due_ms: int | None = None
        self._due_known = False

    @property
    def memory(self) -> Memory:
        """What the next evaluation has to know."""
        from_ms = self.now_ms - CHATTER_MS
        called = tuple(t for t in self._called if t > self.now_ms - 2 * FLOOD_MS)
        return Memory(_later(self._raised, from_ms), _later(self._ended, from_ms), called)

    def alarm(self, key: AlarmKey) -> Alarm:
        """The alarm as it stands, or one that was never raised."""
        return self.alarms.get(key) or Alarm(key)

    def put(self, alarm: Alarm) -> None:
        """Keep an alarm that has not changed in anything that is told or kept."""
        self.alarms[alarm.key] = alarm

    def digesting(self, key: AlarmKey, at_ms: int) -> tuple[Digesting, ...]:
        """Who digests in the alarm's enclosure at that moment."""
        if not key.enclosure:
            return ()
        return tuple(d for d in self.snapshot.digesting.get(key.enclosure, ()) if d.at(at_ms))

    # ---- a change ---------------------------------------------------------------------------

    def emit(self, change: Transition) -> None:
        """Make a change of an alarm happen."""
        if change.cause is Cause.RAISED:
            change = self._with_cause(self._latched(change))
        speaks = change.alarm.speaks
        change = _at_rest(change)
        change = replace(change, told=change.told and speaks)
        if change.told:
            change = self._through_flood(change)
        self._record(change)
        if change.cause.calls:
            self._lift_cause(change)
        if change.cause is Cause.RAISED and change.alarm.key.kind in CAUSES:
            self._gather_under(change)

    def _record(self, change: Transition) -> None:
        alarm, at_ms = change.alarm, change.at_ms
        if change.cause.by_rule:
            alarm = replace(alarm, trail=replace(alarm.trail, settled_ms=at_ms))
        if change.cause is Cause.RAISED:
            self._raised[alarm.key] = (*self._raised.get(alarm.key, ()), at_ms)
        if change.before.standing and not alarm.standing:
            self._ended[alarm.key] = (*self._ended.get(alarm.key, ()), at_ms)
        self.alarms[alarm.key] = alarm
        self.transitions.append(replace(change, alarm=alarm))
        self._due_known = False

    def _latched(self, change: Transition) -> Transition:
        """ISA-18.2: what chatters is held. Here by a longer off-delay, until it has been quiet."""
        key, at_ms = change.alarm.key, change.at_ms
        recent = [t for t in self._raised.get(key, ()) if t > at_ms - CHATTER_MS]
        ended = self._ended.get(key)
        at_once = ended is not None and at_ms - ended[-1] <= CHATTER_AT_ONCE_MS
        if not at_once and len(recent) + 1 < CHATTER_TIMES:
            return change
        return replace(change, alarm=replace(change.alarm, latched=True))

    # ---- one fault, one alarm ---------------------------------------------------------------

    def _with_cause(self, change: Transition) -> Transition:
        cause = cause_of(change.alarm, self.alarms, self.rules)
        return replace(change, alarm=replace(change.alarm, under=cause)) if cause else change

    def _gather_under(self, change: Transition) -> None:
        for alarm in list(self.alarms.values()):
            if alarm.standing and alarm.under is None and alarm.key != change.alarm.key:
                cause = cause_of(alarm, self.alarms, self.rules)
                if cause == change.alarm.key:
                    after = replace(alarm, under=cause)
                    self.emit(Transition(Cause.GATHERED, change.at_ms, alarm.state, after))

    def _lift_cause(self, change: Transition) -> None:
        """What is urgent under an alarm makes that one urgent."""
        alarm = change.alarm
        cause = self.alarms.get(alarm.under) if alarm.under and alarm.standing else None
        if cause is None or not cause.standing:
            return
        is_low = alarm.key.kind is Kind.WARM_SIDE_LOW and alarm.foretold_ms is None
        priority = Priority.HIGH if is_low else alarm.priority
        if priority <= cause.priority:
            return
        after = replace(
            cause, state=State.UNACKNOWLEDGED, priority=priority, changed_ms=change.at_ms
        )
        names = tuple(sorted(self.names_under(cause.key)))
        self.emit(
            Transition(Cause.ESCALATED, change.at_ms, cause.state, after, cause.value,
                       digesting=change.digesting, names=names)
        )  # fmt: skip

    def names_under(self, cause: AlarmKey) -> set[str]:
        """The enclosures of what stands under an alarm."""
        return {a.key.enclosure for a in self.alarms.values() if a.standing and a.under == cause}

    def stood(self, key: AlarmKey, at_ms: int) -> bool:
        """True when that alarm stood just before that moment of the last hour."""
        changes = [(t, True) for t in self._raised.get(key, ())]
        changes += [(t, False) for t in self._ended.get(key, ())]
        before = max((c for c in changes if c[0] < at_ms), default=None)
        if before is not None:
            return before[1]
        after = min((c for c in changes if c[0] >= at_ms), default=None)
        return self.alarm(key).standing if after is None else not after[1]

    # ---- a flood ----------------------------------------------------------------------------

    def _through_flood(self, change: Transition) -> Transition:
        """The change as it is told: an alarm beyond what a person can take in is withheld."""
        if change.alarm.key == FLOOD:
            return change
        flood = self.alarm(FLOOD)
        if not change.cause.calls:
            over = flood.standing and change.cause is Cause.CLEARED
            return replace(change, told=False, withheld=True) if over else change
        at_ms = change.at_ms
        window = [*(t for t in self._called if t > at_ms - FLOOD_MS), at_ms]
        self._called = (*self._called, at_ms)
        self._due_known = False
        if not flood.speaks or (not flood.standing and len(window) <= FLOOD_ALARMS):
            return change
        if change.alarm.key.kind in _NEVER_WITHHELD and change.alarm.priority is Priority.HIGH:
            return change
        change = replace(change, told=False, withheld=True)
        self._tell_of_flood(change, flood, window[0])
        return change

    def _tell_of_flood(self, change: Transition, flood: Alarm, since_ms: int) -> None:
        priority = max(Priority.MEDIUM, change.alarm.priority)
        if flood.standing and priority <= flood.priority:
            return
        # It is told with what stands already and the one that made it a flood.
        names = self._standing_words(change.alarm)
        if flood.standing:
            cause, after = Cause.ESCALATED, replace(flood, priority=priority)
        else:
            cause = Cause.RAISED
            after = Alarm(
                FLOOD, since_ms=since_ms, raised_ms=change.at_ms, priority=priority,
                setpoint=float(FLOOD_ALARMS), value=float(len(names)),
                shelved_until_ms=flood.shelved_until_ms,
            )  # fmt: skip
        after = replace(after, state=State.UNACKNOWLEDGED, changed_ms=change.at_ms)
        self._record(Transition(cause, change.at_ms, flood.state, after, names=names))

    def _standing_words(self, one_more: Alarm | None = None) -> tuple[str, ...]:
        alarms = [a for a in self.alarms.values() if one_more is None or a.key != one_more.key]
        return standing_words(alarms if one_more is None else [*alarms, one_more])

    # ---- what comes with time ---------------------------------------------------------------

    def due(self, until_ms: int) -> None:
        """Do what time alone brings about until then: the ends of shelvings, of floods, and of
        waiting for a cause that has gone. Each at its own moment."""
        while True:
            if not self._due_known:
                self._due_ms = min((d for d, _ in self._dues()), default=None)
                self._due_known = True
            if self._due_ms is None or self._due_ms > until_ms:
                return
            at_ms = self._due_ms
            due = [k for d, k in self._dues() if d == at_ms]
            key = min(due, key=lambda k: (k.kind, k.enclosure, k.probe or ""))
            self._due_known = False
            self._come_due(self.alarms[key], at_ms)

    def _dues(self) -> list[tuple[int, AlarmKey]]:
        found = []
        for alarm in self.alarms.values():
            if alarm.shelved_until_ms is not None:
                found.append((alarm.shelved_until_ms, alarm.key))
            if alarm.under is not None and alarm.standing:
                cause = self.alarm(alarm.under)
                if not cause.standing:
                    later_ms = max(cause.changed_ms or 0, alarm.raised_ms or 0)
                    found.append((later_ms + GATHER_MS, alarm.key))
        if self.alarm(FLOOD).standing:
            last_ms = max((*self._called, self.alarm(FLOOD).changed_ms or 0))
            found.append((last_ms + FLOOD_MS, FLOOD))
        return found

    def _come_due(self, alarm: Alarm, at_ms: int) -> None:
        if alarm.shelved_until_ms is not None and alarm.shelved_until_ms <= at_ms:
            self.unshelve(alarm, at_ms)
        elif alarm.key == FLOOD:
            after = replace(alarm, state=alarm.state.after_return, changed_ms=at_ms)
            names = self._standing_words()
            self.emit(
                Transition(Cause.CLEARED, at_ms, alarm.state, after, over_ms=at_ms, names=names)
            )
        else:
            after = replace(alarm, under=None, state=State.UNACKNOWLEDGED, changed_ms=at_ms)
            digesting = self.digesting(alarm.key, at_ms)
            self.emit(
                Transition(Cause.SURFACED, at_ms, alarm.state, after, alarm.value,
                           digesting=digesting)
            )  # fmt: skip

    def unshelve(self, alarm: Alarm, at_ms: int, who: str | None = None) -> None:
        """The shelving ends: what stands is raised anew, in one message."""
        state = State.UNACKNOWLEDGED if alarm.standing else alarm.state
        after = replace(alarm, shelved_until_ms=None, state=state, changed_ms=at_ms)
        value = alarm.value if alarm.lowest is None else alarm.lowest
        under = tuple(sorted(self.names_under(alarm.key)))
        names = self._standing_words() if alarm.key == FLOOD else under
        digesting = self.digesting(alarm.key, at_ms)
        self.emit(
            Transition(Cause.UNSHELVED, at_ms, alarm.state, after, value, digesting=digesting,
                       who=who, told=alarm.standing, names=names)
        )  # fmt: skip


def _later(
    times: Mapping[AlarmKey, tuple[int, ...]], from_ms: int
) -> dict[AlarmKey, tuple[int, ...]]:
    kept = {key: tuple(t for t in several if t > from_ms) for key, several in times.items()}
    return {key: several for key, several in kept.items() if several}


def _at_rest(change: Transition) -> Transition:
    """What has ended is held no longer, and follows from nothing. An alarm that was shown under
    another asks for no answer of its own."""
    alarm = change.alarm
    if alarm.standing or change.cause not in (Cause.CLEARED, Cause.WITHDRAWN):
        return change
    state = State.NORMAL if alarm.under is not None else alarm.state
    return replace(
        change, alarm=replace(alarm, state=state, latched=False, under=None, foretold_ms=None)
    )
