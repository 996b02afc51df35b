"""Requests: written by one process, carried out by another, each once."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from analysis.watch.alarm_file import open_alarms, transaction
from analysis.watch.requests import Action, Request, ask, settle, waiting
from analysis.watch.states import AlarmKey, Kind

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
