"""An urgent alarm without an answer is told to others, once, and so is its end."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.watch.alarm_store import AlarmStore
from analysis.watch.outbox import Message, Urgency
from analysis.watch.states import (
    MINUTE_MS,
    Alarm,
    AlarmKey,
    Cause,
    Kind,
    Priority,
    State,
    Transition,
)

LARCH = AlarmKey(Kind.WARM_SIDE_LOW, "Larch")
NOW = 1_900_000_000_000
LATER = NOW + 15 * MINUTE_MS
RAISED = Alarm(
    LARCH, State.UNACKNOWLEDGED, Priority.HIGH, since_ms=NOW, raised_ms=NOW, changed_ms=NOW
)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[AlarmStore]:
    with AlarmStore(tmp_path / "alarms.db") as found:
        yield found


def tell(store: AlarmStore, alarm: Alarm, cause: Cause, reference: str, at_ms: int) -> None:
    urgency = Urgency.ALL_CLEAR if cause is Cause.CLEARED else Urgency.of(alarm.priority)
    message = Message(
        reference, LARCH, urgency, f"title {reference}", f"words\nMessage {reference}"
    )
    store.record([Transition(cause, at_ms, State.NORMAL, alarm)], [message], ["first"], at_ms)


def sent_to(store: AlarmStore, address: str) -> list[tuple[str, str]]:
    rows = store._connection.execute(
        "SELECT title, body FROM delivery JOIN outbox USING (message) WHERE address = ? "
        "ORDER BY message",
        (address,),
    )
    return [(row["title"], row["body"]) for row in rows]


def test_told_to_others_after_a_while_and_once(store: AlarmStore) -> None:
    tell(store, RAISED, Cause.RAISED, "m1", NOW)
    assert store.tell_others(["second"], 15, LATER - 1) == 0
    assert store.tell_others(["second"], 15, LATER) == 1
    assert store.tell_others(["second"], 15, LATER + 1) == 0
    ((title, body),) = sent_to(store, "second")
    assert title == "Unanswered: title m1"
    assert body.startswith("Nobody has acknowledged this for 15 min: please look.\nwords\nMessage ")
    assert "m1" not in body
    assert len(sent_to(store, "first")) == 1


@pytest.mark.parametrize(
    "change",
    [
        {"state": State.ACKNOWLEDGED},
        {"state": State.RETURNED},
        {"priority": Priority.MEDIUM},
        {"shelved_until_ms": LATER * 2},
        {"out_of_service": True},
        {"under": AlarmKey(Kind.COLLECTOR_SILENT)},
    ],
)
def test_not_told_when_it_was_answered_or_is_not_urgent(
    store: AlarmStore, change: dict[str, object]
) -> None:
    tell(store, RAISED, Cause.RAISED, "m1", NOW)
    changed = replace(RAISED, **change)  # type: ignore[arg-type]  # any field
    store.record([Transition(Cause.ACKNOWLEDGED, NOW + 1, RAISED.state, changed)], [], [], NOW + 1)
    assert store.tell_others(["second"], 15, LATER) == 0


def test_its_end_is_told_to_them_too(store: AlarmStore) -> None:
    tell(store, RAISED, Cause.RAISED, "m1", NOW)
    store.tell_others(["second"], 15, LATER)
    tell(store, replace(RAISED, state=State.RETURNED), Cause.CLEARED, "m2", LATER + 5)
    assert [title for title, _ in sent_to(store, "second")] == [
        "Unanswered: title m1",
        "title m2",
    ]
    assert [title for title, _ in sent_to(store, "first")] == ["title m1", "title m2"]


def test_raised_anew_it_is_told_anew(store: AlarmStore) -> None:
    tell(store, RAISED, Cause.RAISED, "m1", NOW)
    store.tell_others(["second"], 15, LATER)
    again = replace(RAISED, raised_ms=LATER + 9, changed_ms=LATER + 9)
    tell(store, again, Cause.RAISED, "m3", LATER + 9)
    assert store.tell_others(["second"], 15, LATER + 10) == 0
    assert store.tell_others(["second"], 15, LATER + 9 + 15 * MINUTE_MS) == 1


def test_without_others_nothing_is_made(store: AlarmStore) -> None:
    tell(store, RAISED, Cause.RAISED, "m1", NOW)
    assert store.tell_others([], 15, LATER) == 0


def test_a_restart_tells_the_first_nothing_again(store: AlarmStore) -> None:
    tell(store, RAISED, Cause.RAISED, "m1", NOW)
    store.tell_others(["second"], 15, LATER)
    before = sent_to(store, "first")
    store.begin(["first"], LATER + 1, ["second"])
    assert sent_to(store, "first") == before
    assert len(sent_to(store, "second")) == 1


def waiting_at(store: AlarmStore, address: str) -> list[str]:
    rows = store._connection.execute(
        "SELECT title FROM delivery JOIN outbox USING (message) "
        "WHERE address = ? AND state = 'waiting' ORDER BY message",
        (address,),
    )
    return [row["title"] for row in rows]


@pytest.mark.parametrize(
    "change",
    [{"state": State.ACKNOWLEDGED}, {"shelved_until_ms": LATER * 2}, {"out_of_service": True}],
)
def test_called_off_when_it_is_answered_before_the_others_could_be_told(
    store: AlarmStore, change: dict[str, object]
) -> None:
    tell(store, RAISED, Cause.RAISED, "m1", NOW)
    store.tell_others(["second"], 15, LATER)  # and the network is down
    changed = replace(RAISED, **change)  # type: ignore[arg-type]  # any field
    store.record([Transition(Cause.ACKNOWLEDGED, LATER, RAISED.state, changed)], [], [], LATER)
    store.tell_others(["second"], 15, LATER + 1)
    assert waiting_at(store, "second") == []
    tell(store, replace(RAISED, state=State.NORMAL), Cause.CLEARED, "m2", LATER + 5)
    assert waiting_at(store, "second") == []  # who was not called needs no end


def test_the_end_is_told_to_others_whatever_was_said_in_between(store: AlarmStore) -> None:
    tell(store, RAISED, Cause.RAISED, "m1", NOW)
    store.tell_others(["second"], 15, LATER)
    tell(store, RAISED, Cause.UNSHELVED, "m2", LATER + 1)
    tell(store, replace(RAISED, state=State.RETURNED), Cause.CLEARED, "m3", LATER + 5)
    assert waiting_at(store, "second") == ["Unanswered: title m1", "title m3"]
