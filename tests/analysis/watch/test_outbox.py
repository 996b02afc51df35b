"""The outbox: once to each address, in order, bounded, over any order of failures."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from analysis.watch.alarm_file import open_alarms, transaction
from analysis.watch.outbox import (
    GIVE_UP_AFTER_MS,
    KEEP_MS,
    MOST_WAIT_MS,
    MOST_WAITING,
    OVER_ALREADY,
    STUBBORN,
    Message,
    Outbox,
    Urgency,
)
from analysis.watch.states import AlarmKey, Kind

LARCH = AlarmKey(Kind.WARM_SIDE_LOW, "Larch")
BIRCH = AlarmKey(Kind.WARM_SIDE_LOW, "Birch")
FIRST_WAIT_MS = 1_000


def message(reference: str, key: AlarmKey = LARCH) -> Message:
    return Message(reference, key, Urgency.MEDIUM, f"title {reference}", "body")


@pytest.fixture
def outbox(tmp_path: Path) -> Iterator[Outbox]:
    connection = open_alarms(tmp_path / "alarms.db")
    yield Outbox(connection, FIRST_WAIT_MS)
    connection.close()


def put(outbox: Outbox, one: Message, *addresses: str, now: int = 0) -> None:
    with transaction(outbox._connection):
        outbox.put(one, addresses, now)


def try_next(outbox: Outbox, address: str, now: int, *, works: bool) -> str | None:
    delivery = outbox.next_delivery(address, now)
    if delivery is None:
        return None
    outbox.begin(delivery, now)
    if works:
        outbox.delivered(delivery, now)
    else:
        outbox.failed(delivery, "no answer")
    return delivery.reference


def state(outbox: Outbox, reference: str, address: str) -> tuple[str, str | None]:
    row = outbox._connection.execute(
        "SELECT state, fault FROM delivery JOIN outbox USING (message) "
        "WHERE reference = ? AND address = ?",
        (reference, address),
    ).fetchone()
    return row["state"], row["fault"]


def test_delivered_once_to_each_address(outbox: Outbox) -> None:
    put(outbox, message("m1"), "a", "b")
    assert outbox.something_due(["a"], 0)
    assert try_next(outbox, "a", 0, works=True) == "m1"
    assert try_next(outbox, "b", 0, works=False) == "m1"
    assert not outbox.something_due(["a"], 10**9)
    assert try_next(outbox, "b", FIRST_WAIT_MS, works=True) == "m1"
    assert not outbox.something_due(["a", "b"], 10**9)


def test_the_same_message_is_put_once(outbox: Outbox) -> None:
    put(outbox, message("m1"), "a")
    assert try_next(outbox, "a", 0, works=True) == "m1"
    put(outbox, message("m1"), "a", now=5)
    assert try_next(outbox, "a", 10, works=True) is None


def test_the_wait_doubles_up_to_its_bound(outbox: Outbox) -> None:
    put(outbox, message("m1"), "a")
    now, waits = 0, []
    for _ in range(14):
        assert try_next(outbox, "a", now, works=False) == "m1"
        wait = next(
            w for w in (FIRST_WAIT_MS * 2**n for n in range(30)) if w >= MOST_WAIT_MS
            or outbox.something_due(["a"], now + w)
        )  # fmt: skip
        wait = min(wait, MOST_WAIT_MS)
        assert not outbox.something_due(["a"], now + wait - 1)
        assert outbox.something_due(["a"], now + wait)
        waits.append(wait)
        now += wait
    assert waits[:4] == [1_000, 2_000, 4_000, 8_000]
    assert waits[-1] == MOST_WAIT_MS


def test_an_attempt_that_died_is_made_again_after_the_wait(outbox: Outbox) -> None:
    put(outbox, message("m1"), "a")
    delivery = outbox.next_delivery("a", 0)
    assert delivery is not None
    outbox.begin(delivery, 0)  # and the process is killed
    assert not outbox.something_due(["a"], FIRST_WAIT_MS - 1)
    assert try_next(outbox, "a", FIRST_WAIT_MS, works=True) == "m1"


def test_nothing_overtakes_and_a_new_message_has_the_older_tried_at_once(outbox: Outbox) -> None:
    put(outbox, message("m1"), "a")
    assert try_next(outbox, "a", 0, works=False) == "m1"
    assert not outbox.something_due(["a"], 10)
    put(outbox, message("m2"), "a", now=10)
    put(outbox, message("n1", BIRCH), "a", now=10)
    assert outbox.something_due(["a"], 10)
    assert try_next(outbox, "a", 10, works=True) == "m1"
    assert try_next(outbox, "a", 11, works=True) == "m2"
    assert try_next(outbox, "a", 12, works=True) == "n1"


def test_a_message_that_never_goes_does_not_hold_up_those_of_other_alarms(outbox: Outbox) -> None:
    put(outbox, message("poison"), "a")
    put(outbox, message("n1", BIRCH), "a")
    put(outbox, message("m2"), "a")
    for attempt in range(1, STUBBORN + 1):
        now = attempt * MOST_WAIT_MS
        poison = outbox.next_delivery("a", now)
        assert poison is not None
        assert poison.reference == "poison"
        outbox.begin(poison, now)
        outbox.failed(poison, "not taken")
        behind = outbox.next_delivery("a", now, {poison.number})
        assert (behind.reference if behind else None) == ("n1" if attempt == STUBBORN else None)


def test_the_end_is_told_to_everyone_who_was_told_of_it(outbox: Outbox) -> None:
    put(outbox, message("m1"), "a", "second")
    over = Message("m2", LARCH, Urgency.ALL_CLEAR, "over", "body")
    put(outbox, over, "a", now=1)
    assert try_next(outbox, "second", 1, works=True) == "m1"
    assert try_next(outbox, "second", 1, works=True) == "m2"


def test_postponed_while_the_address_does_not_answer(outbox: Outbox) -> None:
    put(outbox, message("m1"), "a", "b")
    outbox.postpone("a", 0)
    assert not outbox.something_due(["a"], FIRST_WAIT_MS - 1)
    assert outbox.something_due(["b"], 0)
    assert outbox.something_due(["a"], FIRST_WAIT_MS)


def test_a_clock_put_back_does_not_hold_messages(outbox: Outbox) -> None:
    put(outbox, message("m1"), "a", now=10**12)
    assert try_next(outbox, "a", 10**12, works=False) == "m1"
    assert outbox.something_due(["a"], 10**12 - 86_400_000)


def test_given_up_after_seven_days(outbox: Outbox, caplog: pytest.LogCaptureFixture) -> None:
    put(outbox, message("m1"), "a")
    with transaction(outbox._connection):
        outbox.tidy(GIVE_UP_AFTER_MS)
    assert state(outbox, "m1", "a")[0] == "waiting"
    with caplog.at_level(logging.WARNING), transaction(outbox._connection):
        outbox.tidy(GIVE_UP_AFTER_MS + 1)
    assert state(outbox, "m1", "a")[0] == "given up"
    assert "m1" in caplog.text
    assert not outbox.something_due(["a"], 10**12)


def test_the_oldest_are_given_up_when_too_many_wait(outbox: Outbox) -> None:
    with transaction(outbox._connection):
        for number in range(MOST_WAITING + 2):
            outbox.put(message(f"m{number}"), ["a"], number)
    assert state(outbox, "m0", "a") == ("given up", "too many messages were waiting")
    assert state(outbox, "m1", "a")[0] == "given up"
    assert state(outbox, "m2", "a")[0] == "waiting"


def test_settled_messages_are_forgotten_in_the_end(outbox: Outbox) -> None:
    put(outbox, message("old"), "a")
    try_next(outbox, "a", 0, works=True)
    put(outbox, message("new", BIRCH), "a", now=2)
    with transaction(outbox._connection):
        outbox.tidy(KEEP_MS + 1)
    kept = outbox._connection.execute("SELECT reference FROM outbox").fetchall()
    assert [row["reference"] for row in kept] == ["new"]
    assert outbox._connection.execute("SELECT count(*) FROM delivery").fetchone()[0] == 1


def test_a_new_address_learns_what_stands_and_an_old_one_hears_nothing_twice(
    outbox: Outbox,
) -> None:
    put(outbox, message("m1"), "a")
    put(outbox, message("over", BIRCH), "a")
    assert try_next(outbox, "a", 0, works=True) == "m1"
    with transaction(outbox._connection):
        outbox.change_addresses(["a", "b"], [LARCH], 5)
    assert try_next(outbox, "b", 5, works=True) == "m1"
    assert try_next(outbox, "b", 5, works=True) is None
    assert try_next(outbox, "a", 5, works=True) == "over"
    with transaction(outbox._connection):
        outbox.change_addresses(["a", "b"], [LARCH], 6)
    assert not outbox.something_due(["a", "b"], 10)


def test_an_address_that_has_left_and_comes_back_with_the_alarm_still_standing(
    outbox: Outbox,
) -> None:
    put(outbox, message("m1"), "a")
    with transaction(outbox._connection):
        outbox.change_addresses([], [LARCH], 1)
    assert state(outbox, "m1", "a")[0] == "given up"
    with transaction(outbox._connection):
        outbox.change_addresses(["a"], [LARCH], 2)
    assert try_next(outbox, "a", 2, works=True) == "m1"


def test_an_unusable_address_waits_for_nothing(outbox: Outbox) -> None:
    put(outbox, message("m1"), "bad", "a")
    outbox.refuse("bad", 1, "apprise cannot use the address")
    assert not outbox.something_due(["bad"], 10**9)
    assert try_next(outbox, "a", 1, works=True) == "m1"


@pytest.fixture
def quiet(tmp_path: Path) -> Iterator[Outbox]:
    """An outbox in hours that are quiet until the moment 100."""
    connection = open_alarms(tmp_path / "alarms.db")

    def hold(urgency: Urgency, now_ms: int) -> int | None:
        return None if urgency is Urgency.HIGH or now_ms >= 100 else 100

    yield Outbox(connection, FIRST_WAIT_MS, hold)
    connection.close()


def urgent(reference: str, key: AlarmKey, urgency: Urgency) -> Message:
    return Message(reference, key, urgency, "title", "body")


def test_in_quiet_hours_only_the_urgent_and_its_end_pass(quiet: Outbox) -> None:
    put(quiet, urgent("medium", LARCH, Urgency.MEDIUM), "a", now=1)
    assert not quiet.something_due(["a"], 2)
    put(quiet, urgent("high", BIRCH, Urgency.HIGH), "a", now=3)
    put(quiet, urgent("high over", BIRCH, Urgency.ALL_CLEAR), "a", now=4)
    assert try_next(quiet, "a", 5, works=True) == "high"
    assert try_next(quiet, "a", 5, works=True) == "high over"
    assert try_next(quiet, "a", 99, works=True) is None
    assert try_next(quiet, "a", 100, works=True) == "medium"


def test_what_was_over_before_the_quiet_hours_is_told_in_one(quiet: Outbox) -> None:
    put(quiet, urgent("m1", LARCH, Urgency.MEDIUM), "a", now=1)
    put(quiet, urgent("m2", LARCH, Urgency.ALL_CLEAR), "a", now=2)
    put(quiet, urgent("n1", BIRCH, Urgency.MEDIUM), "a", now=3)
    quiet.pass_over("a", 50)
    assert state(quiet, "m1", "a") == ("waiting", None)
    quiet.pass_over("a", 100)
    assert state(quiet, "m1", "a") == ("given up", OVER_ALREADY)
    assert try_next(quiet, "a", 100, works=True) == "m2"
    assert try_next(quiet, "a", 100, works=True) == "n1"


def test_what_becomes_urgent_in_quiet_hours_does_not_wait_behind_its_own_call(
    quiet: Outbox,
) -> None:
    put(quiet, urgent("medium", LARCH, Urgency.MEDIUM), "a", now=1)
    put(quiet, urgent("high", LARCH, Urgency.HIGH), "a", now=3)
    assert try_next(quiet, "a", 4, works=True) == "high"
    put(quiet, urgent("over", LARCH, Urgency.ALL_CLEAR), "a", now=5)
    assert try_next(quiet, "a", 6, works=True) == "over"
    quiet.pass_over("a", 100)  # what was urgent has said more than the call before it
    assert try_next(quiet, "a", 100, works=True) is None


def test_a_clock_put_back_does_not_hold_what_was_quiet(quiet: Outbox) -> None:
    put(quiet, urgent("m1", LARCH, Urgency.MEDIUM), "a", now=1)
    assert quiet.something_due(["a"], 100 - 86_400_001)


class Deliveries(RuleBasedStateMachine):
    """Messages of two alarms on their way to two addresses, with attempts that fail and die."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = TemporaryDirectory()
        self.outbox = Outbox(open_alarms(Path(self.folder.name) / "alarms.db"), FIRST_WAIT_MS)
        self.now = 0
        self.sent: list[str] = []
        self.arrived: dict[str, list[str]] = {"a": [], "b": []}

    @rule(key=st.sampled_from([LARCH, BIRCH]))
    def put(self, key: AlarmKey) -> None:
        reference = f"{key.enclosure}-{len(self.sent)}"
        self.sent.append(reference)
        put(self.outbox, message(reference, key), "a", "b", now=self.now)

    @rule(address=st.sampled_from(["a", "b"]), works=st.booleans())
    def attempt(self, address: str, *, works: bool) -> None:
        reference = try_next(self.outbox, address, self.now, works=works)
        if reference is not None and works:
            self.arrived[address].append(reference)

    @rule(address=st.sampled_from(["a", "b"]))
    def die(self, address: str) -> None:
        delivery = self.outbox.next_delivery(address, self.now)
        if delivery is not None:
            self.outbox.begin(delivery, self.now)

    @rule(span=st.integers(1, MOST_WAIT_MS))
    def wait(self, span: int) -> None:
        self.now += span

    @invariant()
    def in_order_and_none_twice(self) -> None:
        for arrived in self.arrived.values():
            assert arrived == self.sent[: len(arrived)]

    def teardown(self) -> None:
        self.now += MOST_WAIT_MS
        for address in ("a", "b"):
            while self.outbox.something_due([address], self.now):
                self.attempt(address, works=True)
            assert len(self.arrived[address]) == len(self.sent)
        self.in_order_and_none_twice()
        self.outbox._connection.close()
        self.folder.cleanup()


Deliveries.TestCase.settings = settings(max_examples=40, stateful_step_count=30, deadline=None)
TestDeliveries = Deliveries.TestCase
