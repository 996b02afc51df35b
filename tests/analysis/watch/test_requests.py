"""Requests: written by one process, carried out by another, each once."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from analysis.watch.alarm_file import open_alarms, transaction
from analysis.watch.alarm_store import AlarmStore
from analysis.watch.requests import Action, Asked, Request, ask, asked, asked_with, settle, waiting
from analysis.watch.states import Alarm, AlarmKey, Cause, Kind, State, Transition

LOW = AlarmKey(Kind.WARM_SIDE_LOW, "Larch")
SILENT = AlarmKey(Kind.NO_READINGS, "Larch", "urn:dev:ow:28ff641f43b2c1d0")


def test_requests_wait_in_order_until_they_are_settled(tmp_path: Path) -> None:
    path = tmp_path / "alarms.db"
    first = ask(path, Action.ACKNOWLEDGE, LOW, who="Ana", now_ms=5)
    second = ask(path, Action.SHELVE, SILENT, who="page", now_ms=6, until_ms=60)
    with closing(open_alarms(path)) as connection:
        assert waiting(connection) == [
            Request(first, 5, "Ana", Action.ACKNOWLEDGE, LOW),
            Request(second, 6, "page", Action.SHELVE, SILENT, 60),
        ]
        with transaction(connection):
            settle(connection, [first], 10)
        assert [one.number for one in waiting(connection)] == [second]


@pytest.mark.parametrize(
    ("action", "until_ms"),
    [(Action.SHELVE, None), (Action.SHELVE, 100), (Action.ACKNOWLEDGE, 200)],
)
def test_a_shelving_has_an_end_to_come(
    tmp_path: Path, action: Action, until_ms: int | None
) -> None:
    with pytest.raises(ValueError, match="a shelving"):
        ask(tmp_path / "alarms.db", action, LOW, who="Ana", now_ms=100, until_ms=until_ms)
    assert not (tmp_path / "alarms.db").exists()


def test_the_same_mark_again_is_the_same_request(tmp_path: Path) -> None:
    path = tmp_path / "alarms.db"
    assert asked_with(path, "m") is None
    first = ask(path, Action.ACKNOWLEDGE, LOW, who="page", now_ms=5, mark="m")
    assert ask(path, Action.SHELVE, LOW, who="page", now_ms=9, until_ms=90, mark="m") == first
    assert ask(path, Action.ACKNOWLEDGE, LOW, who="page", now_ms=9, mark="n") != first
    with closing(open_alarms(path)) as connection:
        assert [one.at_ms for one in waiting(connection)] == [5, 9]
    assert asked_with(path, "m") == asked(path, first)
    assert asked(path, first) == Asked(Request(first, 5, "page", Action.ACKNOWLEDGE, LOW))
    assert asked(path, 99) is None


def test_what_became_of_a_request_is_known(tmp_path: Path) -> None:
    path = tmp_path / "alarms.db"
    alarm = Alarm(LOW, State.ACKNOWLEDGED)
    first = ask(path, Action.ACKNOWLEDGE, LOW, who="page", now_ms=5)
    second = ask(path, Action.ACKNOWLEDGE, LOW, who="page", now_ms=6)
    change = Transition(Cause.ACKNOWLEDGED, 5, State.UNACKNOWLEDGED, alarm, who="page")
    with AlarmStore(path) as store:
        store.record([change], [], [], 10, [first])
        store.record([], [], [], 11, [second])
    for number, settled_ms, changed in ((first, 10, True), (second, 11, False)):
        found = asked(path, number)
        assert found is not None
        assert (found.settled_ms, found.changed) == (settled_ms, changed)
