"""What a keeper asks of an alarm, carried out: acknowledge, shelve, out of service. Pure."""

from __future__ import annotations

from dataclasses import replace

from analysis.watch.requests import Action, Request
from analysis.watch.rules_run import Run
from analysis.watch.states import Alarm, Cause, State, Trail, Transition


def answer(run: Run, request: Request, at_ms: int) -> None:
    """Carry out a request. One that changes nothing leaves no trace but that it was settled."""
    alarm = run.alarm(request.key)
    match request.action:
        case Action.ACKNOWLEDGE:
            _acknowledge(run, alarm, request, at_ms)
        case Action.SHELVE:
            _shelve(run, alarm, request, at_ms)
        case Action.UNSHELVE:
            if alarm.shelved_until_ms is not None:
                run.unshelve(alarm, at_ms, request.who)
        case Action.OUT_OF_SERVICE:
            if not alarm.out_of_service:
                after = Alarm(
                    alarm.key, priority=alarm.priority, changed_ms=at_ms, out_of_service=True,
                    trail=Trail(from_ms=at_ms),
                )  # fmt: skip
                _quietly(run, alarm, after, Cause.OUT_OF_SERVICE, request, at_ms=at_ms)
        case Action.IN_SERVICE:
            if alarm.out_of_service:
                after = replace(
                    alarm, out_of_service=False, changed_ms=at_ms, trail=Trail(from_ms=at_ms)
                )
                _quietly(run, alarm, after, Cause.IN_SERVICE, request, at_ms=at_ms)


def _acknowledge(run: Run, alarm: Alarm, request: Request, at_ms: int) -> None:
    after = {State.UNACKNOWLEDGED: State.ACKNOWLEDGED, State.RETURNED: State.NORMAL}
    if alarm.state in after:
        changed = replace(alarm, state=after[alarm.state], changed_ms=at_ms)
        _quietly(run, alarm, changed, Cause.ACKNOWLEDGED, request, at_ms=at_ms)


def _shelve(run: Run, alarm: Alarm, request: Request, at_ms: int) -> None:
    until_ms = request.until_ms
    if alarm.out_of_service or until_ms is None or until_ms <= at_ms:
        return
    after = replace(alarm, shelved_until_ms=until_ms, changed_ms=at_ms)
    _quietly(run, alarm, after, Cause.SHELVED, request, at_ms=at_ms)


def _quietly(
    run: Run, before: Alarm, after: Alarm, cause: Cause, request: Request, *, at_ms: int
) -> None:
    run.emit(
        Transition(cause, at_ms, before.state, after, who=request.who, until_ms=request.until_ms,
                   told=False)
    )  # fmt: skip
