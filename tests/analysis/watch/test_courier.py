"""The courier: starts the delivery only when something waits, and never two."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from analysis.watch.alarm_store import AlarmStore
from analysis.watch.courier import Courier
from analysis.watch.outbox import Message, Urgency
from analysis.watch.states import AlarmKey, Kind


class Clock:
    """A monotonic clock moved by hand."""

    now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def store(tmp_path: Path) -> Iterator[AlarmStore]:
    with AlarmStore(tmp_path / "alarms.db") as one:
        yield one


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """The commands started. In place of the delivery, the real process that `stand_in` says."""
    commands: list[list[str]] = []
    popen = subprocess.Popen

    def start(command: list[str], **kwargs: object) -> subprocess.Popen[bytes]:
        commands.append(command[1:])
        return popen([sys.executable, "-c", stand_in[0]], **kwargs)  # type: ignore[call-overload,no-any-return]

    monkeypatch.setattr(subprocess, "Popen", start)
    return commands


stand_in = ["pass"]
WAITS = "import time; time.sleep(60)"


def put(store: AlarmStore, reference: str, now_ms: int = 0) -> None:
    key = AlarmKey(Kind.WARM_SIDE_LOW, "Larch")
    store.record([], [Message(reference, key, Urgency.LOW, "t", "b")], ["a"], now_ms)


def courier(store: AlarmStore, clock: Clock, addresses: tuple[str, ...] = ("a",)) -> Courier:
    return Courier(Path("home"), store, addresses, every_seconds=10.0, monotonic=clock)


def wait_until_ended(one: Courier) -> None:
    deadline = time.monotonic() + 10
    while one._running() and time.monotonic() < deadline:
        time.sleep(0.01)
    assert one._process is None


def test_the_first_run_checks_the_addresses_then_only_what_waits(
    store: AlarmStore, started: list[list[str]]
) -> None:
    stand_in[0] = "pass"
    one = courier(store, Clock())
    one.tick(0)
    assert started[0] == ["-m", "analysis.watch.deliver", "--home", "home", "--check"]
    wait_until_ended(one)
    one.tick(0)
    assert len(started) == 1
    put(store, "m1")
    one.tick(0)
    assert started[1:] == [["-m", "analysis.watch.deliver", "--home", "home"]]
    wait_until_ended(one)


def test_never_two_and_one_that_outlives_its_limit_is_killed(
    store: AlarmStore, started: list[list[str]], caplog: pytest.LogCaptureFixture
) -> None:
    stand_in[0] = WAITS
    clock = Clock()
    one = courier(store, clock)
    put(store, "m1")
    one.tick(0)
    one.tick(0)
    assert len(started) == 1
    process = one._process
    assert process is not None
    clock.now_s = 151.0
    one.tick(0)
    assert process.returncode == -9
    assert len(started) == 1
    assert "ended with code -9" in caplog.text
    clock.now_s += 20.0  # the pause after one failure: twice the usual
    one.tick(0)
    assert len(started) == 2
    one.close()


def test_a_delivery_that_cannot_run_is_not_started_again_and_again(
    store: AlarmStore, started: list[list[str]]
) -> None:
    stand_in[0] = "raise SystemExit(3)"
    clock = Clock()
    one = courier(store, clock)
    put(store, "m1")
    for _ in range(360):  # an hour of cycles
        one.tick(0)
        if one._process is not None:
            wait_until_ended(one)
        clock.now_s += 10.0
    assert 5 <= len(started) <= 10


def test_without_an_address_nothing_is_started(store: AlarmStore, started: list[list[str]]) -> None:
    put(store, "m1")
    courier(store, Clock(), ()).tick(0)
    assert started == []


def test_close_waits_for_the_message_in_hand_but_not_for_ever(
    store: AlarmStore, started: list[list[str]]
) -> None:
    stand_in[0] = "import signal, time; signal.signal(15, lambda *_: None); time.sleep(60)"
    one = courier(store, Clock())
    one.tick(0)
    time.sleep(0.3)
    begin = time.monotonic()
    one.close(wait_seconds=0.2)
    assert time.monotonic() - begin < 2.0
    process = one._process
    assert process is not None
    process.kill()
    process.wait()
