"""Commands that answer alarms: alarms, acknowledge, shelve, unshelve, out-of-service, in-service,
test-message."""

from __future__ import annotations

import getpass
import os
import re
from datetime import timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from analysis.cli.common import HomeOption, JsonOption, home_at, now_ms, print_json
from config.errors import NotSo, Unusable
from config.settings import Settings, load_settings

if TYPE_CHECKING:
    from analysis.watch.requests import Action
    from analysis.watch.states import Alarm
    from config.home import Home

CodeArgument = Annotated[str, typer.Argument(metavar="CODE", help="The code from: alarms.")]
_SPAN = re.compile(r"(\d+(?:[.,]\d+)?)\s*(min|h|d)")
_MOST = timedelta(days=30)


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    for command in (alarms, acknowledge, shelve, unshelve):
        app.command()(command)
    app.command("out-of-service")(out_of_service)
    app.command("in-service")(in_service)
    app.command("test-message")(send_test_message)


def alarms(
    everything: Annotated[
        bool, typer.Option("--all", help="Also those that are over and were answered.")
    ] = False,
    as_json: JsonOption = False,
    home: HomeOption = None,
) -> None:
    """Alarms that stand or wait for an answer, the most urgent first."""
    where = home_at(home)
    settings = load_settings(where)
    found = [one for one in _stored(where) if everything or _open(one)]
    if as_json:
        from analysis.watch.alarm_json import alarm_json

        print_json([alarm_json(one) for one in found])
    elif not found:
        typer.echo("No alarm stands or waits for an answer.")
    else:
        from analysis.cli.tables import alarm_table, show

        show(alarm_table(found, settings))


def acknowledge(
    code: Annotated[str, typer.Argument(metavar="CODE|all", help="The code from: alarms.")],
    home: HomeOption = None,
) -> None:
    """Say that you have seen an alarm and see to it."""
    from analysis.watch.requests import Action

    where = home_at(home)
    asking = [one for one in _stored(where) if one.state in ("unacknowledged", "returned")]
    if code != "all":
        asking = [_by_code(code, where)]
    elif not asking:
        raise NotSo("no alarm waits for an answer")
    for one in asking:
        _ask(where, Action.ACKNOWLEDGE, one)


def shelve(
    code: CodeArgument,
    span: Annotated[
        str, typer.Option("--for", metavar="SPAN", help="For how long: 30min, 2h or 1d.")
    ],
    home: HomeOption = None,
) -> None:
    """Keep an alarm quiet for a while; it speaks again when the time is over and it stands."""
    from analysis.watch.requests import Action

    where = home_at(home)
    until_ms = now_ms() + _span_ms(span)
    _ask(where, Action.SHELVE, _by_code(code, where), until_ms)


def unshelve(code: CodeArgument, home: HomeOption = None) -> None:
    """End a shelving before its time."""
    from analysis.watch.requests import Action

    where = home_at(home)
    _ask(where, Action.UNSHELVE, _by_code(code, where))


def out_of_service(code: CodeArgument, home: HomeOption = None) -> None:
    """Take an alarm out of service: it is not judged until it is put in service again."""
    from analysis.watch.requests import Action

    where = home_at(home)
    _ask(where, Action.OUT_OF_SERVICE, _by_code(code, where))


def in_service(code: CodeArgument, home: HomeOption = None) -> None:
    """Put an alarm in service again."""
    from analysis.watch.requests import Action

    where = home_at(home)
    _ask(where, Action.IN_SERVICE, _by_code(code, where))


def send_test_message(
    wait: Annotated[
        float, typer.Option("--wait", metavar="SECONDS", min=1, help="How long to wait for it.")
    ] = 90.0,
    home: HomeOption = None,
) -> None:
    """Send a message the whole way an alarm goes, with picture and link; say for each address
    whether it was taken."""
    from analysis.watch.trial import lacking, send_trial

    where = home_at(home)
    settings = load_settings(where)
    results = send_trial(where, settings, wait_seconds=wait)
    for one in results:
        if one.fault is None:
            typer.echo(f"{one.label}: taken after {one.seconds:.0f} s")
        else:
            typer.echo(f"{one.label}: not taken: {one.fault}")
    for line in lacking(where, settings):
        typer.echo(f"It goes with {line}.")
    missed = sum(one.fault is not None for one in results)
    if missed:
        raise NotSo(f"{missed} of {len(results)} addresses did not take it; an alarm would not "
                    "arrive there")  # fmt: skip
    typer.echo("Taken is not read: see that it arrived, and that it would wake you.")


def _stored(where: Home) -> list[Alarm]:
    from analysis.watch.alarm_store import AlarmStore

    if not where.alarms.exists():
        return []
    with AlarmStore(where.alarms) as store:
        found = list(store.alarms().values())
    return sorted(found, key=lambda one: (-one.priority, one.raised_ms or 0))


def _open(alarm: Alarm) -> bool:
    return alarm.shown_state != "normal"


def _by_code(code: str, where: Home) -> Alarm:
    from analysis.watch.names import alarm_of

    return alarm_of(code, _stored(where))


def _ask(where: Home, action: Action, alarm: Alarm, until_ms: int | None = None) -> None:
    from analysis.watch.names import code_of
    from analysis.watch.requests import ask

    ask(where.alarms, action, alarm.key, who=_who(), now_ms=now_ms(), until_ms=until_ms)
    place = f" of {alarm.key.enclosure}" if alarm.key.enclosure else ""
    typer.echo(f"{code_of(alarm.key)} ({alarm.key.kind}{place}): {action} asked of the watch")


def _who() -> str:
    named = os.environ.get("WARMCOIL_WHO")
    try:
        return named or getpass.getuser()
    except (KeyError, OSError):  # a user without a name
        return "command line"


def _span_ms(text: str) -> int:
    found = _SPAN.fullmatch(text.strip())
    if found is None:
        raise Unusable(f"--for {text!r} is no span of time; write 30min, 2h or 1d")
    number = float(found[1].replace(",", "."))
    unit = {"min": "minutes", "h": "hours", "d": "days"}[found[2]]
    span = timedelta(**{unit: number})
    if not timedelta() < span <= _MOST:
        raise Unusable(f"--for {text}: give more than nothing and at most {_MOST.days} days")
    return round(span.total_seconds() * 1000)


def words_of(alarm: Alarm, settings: Settings) -> tuple[str, ...]:
    """One alarm as a row: code, alarm, place, state, priority, since."""
    from analysis.watch.names import code_of
    from analysis.words import local_time

    key = alarm.key
    place = ", ".join(part for part in (key.enclosure, key.probe) if part) or "the monitor itself"
    since = local_time(alarm.since_ms, settings.zone) if alarm.since_ms is not None else "not known"
    state = alarm.shown_state
    if alarm.shelved_until_ms is not None:
        state += f" until {local_time(alarm.shelved_until_ms, settings.zone)}"
    if alarm.under is not None:
        state += f", follows from {code_of(alarm.under)}"
    return code_of(key), str(key.kind), place, state, alarm.priority.name.lower(), since
