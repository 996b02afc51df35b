"""Several warm sides that fall at once: most likely the power, and one alarm. Pure."""

from __future__ import annotations

from dataclasses import replace

from analysis.watch.rule_figures import FALLS_TOGETHER_MS
from analysis.watch.rules_run import Run
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

SEVERAL_COOLING = AlarmKey(Kind.SEVERAL_COOLING)


def after_restart(alarm: Alarm, seen_ms: int) -> Alarm:
    """The alarm as a new watch takes it up. It is about what others do at the same time, which at
    the beginning of the look-back is not known of all: what was seen by the last watch is done."""
    settled_ms = max(seen_ms, alarm.trail.settled_ms or 0)
    return replace(alarm, trail=replace(alarm.trail, settled_ms=settled_ms))


def cooling_together(run: Run, at_ms: int) -> list[tuple[int, str]]:
    """(when its fall began in ms, enclosure) of the most enclosures whose falls began together."""
    falls = sorted(
        (fall.began_ms, key.enclosure)
        for key, alarm in run.alarms.items()
        if key.kind is Kind.WARM_SIDE_LOW
        and not alarm.out_of_service
        and (fall := alarm.trail.fall).began_ms is not None
        and fall.look_ms is not None
        and at_ms - fall.look_ms <= run.rules.gap_ms
    )
    groups = [
        [one for one in falls[i:] if one[0] - falls[i][0] <= FALLS_TOGETHER_MS]
        for i in range(len(falls))
    ]
    return max(groups, key=len, default=[])


def judge_together(run: Run, at_ms: int) -> None:
    """After a look at a warm side: do several fall together, or none of them any more?"""
    alarm = run.alarm(SEVERAL_COOLING)
    if alarm.out_of_service:
        return
    group = cooling_together(run, at_ms)
    trail = alarm.trail
    several = len(group) > 1
    from_ms = (trail.beyond_ms or (None,))[0]
    trail = replace(
        trail,
        judged_ms=at_ms,
        beyond_ms=((at_ms if from_ms is None else from_ms) if several else None,),
    )
    still = {name for _, name in group} if several else set()
    over = alarm.standing and len(still | _low_at(run, at_ms)) < 2
    back_ms = (at_ms if trail.back_ms is None else trail.back_ms) if over else None
    alarm = replace(alarm, trail=replace(trail, back_ms=back_ms))
    run.put(alarm)
    if alarm.trail.settled(at_ms):
        return
    change = _change(run, alarm, group, at_ms)
    if change is not None:
        run.emit(change)


def _low_at(run: Run, at_ms: int) -> set[str]:
    """The enclosures whose warm side was said to be low, or to fall, at that moment."""
    return {
        key.enclosure
        for key in run.alarms
        if key.kind is Kind.WARM_SIDE_LOW and run.stood(key, at_ms)
    }


def _change(run: Run, alarm: Alarm, group: list[tuple[int, str]], at_ms: int) -> Transition | None:
    from_ms, back_ms = alarm.trail.beyond_ms[0], alarm.trail.back_ms
    if alarm.standing:
        if back_ms is None or at_ms - back_ms < run.rules.together_off_ms:
            return None
        after = replace(alarm, state=alarm.state.after_return, changed_ms=at_ms)
        return Transition(Cause.CLEARED, at_ms, alarm.state, after, over_ms=back_ms)
    if from_ms is None or at_ms - from_ms < run.rules.together_ms:
        return None
    names = tuple(sorted(name for _, name in group))
    after = Alarm(
        key=SEVERAL_COOLING,
        state=State.UNACKNOWLEDGED,
        priority=Priority.MEDIUM,
        since_ms=group[0][0],
        raised_ms=at_ms,
        changed_ms=at_ms,
        value=float(len(names)),
        shelved_until_ms=alarm.shelved_until_ms,
        trail=alarm.trail,
    )
    digesting: list[Digesting] = []
    for name in names:
        digesting += run.digesting(AlarmKey(Kind.WARM_SIDE_LOW, name), at_ms)
    return Transition(
        Cause.RAISED, at_ms, alarm.state, after, after.value,
        digesting=tuple(digesting), names=names,
    )  # fmt: skip
