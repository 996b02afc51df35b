"""Alarms on the command line, and the message that proves the whole way: real processes."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from analysis.watch.alarm_file import open_alarms
from analysis.watch.alarm_store import AlarmStore
from analysis.watch.names import code_of
from analysis.watch.requests import Action, waiting
from analysis.watch.states import Alarm, AlarmKey, Cause, Kind, Priority, State, Transition
from config.home import Home
from tests.analysis.watch.endpoint import Endpoint
from tests.analysis.watch.stage import (
    HOUR_MS,
    MINUTE_MS,
    Feed,
    Stage,
    WatchProcess,
    wall_ms,
    write_care,
    write_settings,
)

WARMCOIL = [sys.executable, "-c", "import sys; from analysis.cli import main; sys.exit(main())"]
LOW = AlarmKey(Kind.WARM_SIDE_LOW, "Larch")
SILENT = AlarmKey(Kind.NO_READINGS, "Larch", "warm-1")


def run(home: Home, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*WARMCOIL, *words, "--home", str(home.folder)],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


@pytest.fixture
def home(tmp_path: Path) -> Home:
    found = Home(tmp_path)
    write_settings(found)
    alarms = [
        Alarm(SILENT, State.RETURNED, Priority.LOW, since_ms=1_000, raised_ms=1_000),
        Alarm(LOW, State.UNACKNOWLEDGED, Priority.HIGH, since_ms=2_000, raised_ms=2_000),
        Alarm(AlarmKey(Kind.TOO_HOT, "Larch"), State.NORMAL),
    ]
    with AlarmStore(found.alarms) as store:
        store.record(
            [Transition(Cause.RAISED, 2_000, State.NORMAL, one) for one in alarms], [], [], 2_000
        )
    return found


def asked(home: Home) -> list[tuple[Action, AlarmKey]]:
    with closing(open_alarms(home.alarms)) as connection:
        return [(one.action, one.key) for one in waiting(connection)]


def test_the_most_urgent_first_and_what_is_over_not_at_all(home: Home) -> None:
    found = json.loads(run(home, "alarms", "--json").stdout)
    assert [(one["code"], one["state"]) for one in found] == [
        (code_of(LOW), "unacknowledged"),
        (code_of(SILENT), "returned"),
    ]
    assert len(json.loads(run(home, "alarms", "--json", "--all").stdout)) == 3
    table = run(home, "alarms").stdout
    assert "warm side low" in table
    assert "Larch, warm-1" in table


def test_each_answer_is_asked_of_the_watch(home: Home) -> None:
    code = code_of(LOW)
    assert run(home, "acknowledge", code[:5]).returncode == 0
    assert run(home, "shelve", code, "--for", "1,5h").returncode == 0
    assert run(home, "unshelve", code).returncode == 0
    assert run(home, "out-of-service", code).returncode == 0
    assert run(home, "in-service", code).returncode == 0
    done = run(home, "acknowledge", "all")
    assert done.stdout.count("asked of the watch") == 2
    assert asked(home) == [
        *((action, LOW) for action in (Action.ACKNOWLEDGE, Action.SHELVE, Action.UNSHELVE)),
        (Action.OUT_OF_SERVICE, LOW),
        (Action.IN_SERVICE, LOW),
        (Action.ACKNOWLEDGE, LOW),
        (Action.ACKNOWLEDGE, SILENT),
    ]


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("acknowledge", "ffffff"), 1, "no alarm of code"),
        (("acknowledge", ""), 1, "alarms of code"),
        (("shelve", code_of(LOW)), 2, "--for"),
        (("shelve", code_of(LOW), "--for", "soon"), 2, "no span of time"),
        (("shelve", code_of(LOW), "--for", "0min"), 2, "more than nothing"),
        (("shelve", code_of(LOW), "--for", "60d"), 2, "at most 30 days"),
    ],
)
def test_what_cannot_be_is_one_line(
    home: Home, words: tuple[str, ...], code: int, says: str
) -> None:
    done = run(home, *words)
    assert done.returncode == code
    assert done.stderr.count("\n") == 1
    assert says in done.stderr
    assert asked(home) == []


def test_nothing_stands_in_a_new_home(tmp_path: Path) -> None:
    found = Home(tmp_path)
    write_settings(found)
    assert run(found, "alarms").stdout == "No alarm stands or waits for an answer.\n"
    done = run(found, "acknowledge", "all")
    assert (done.returncode, done.stderr) == (1, "warmcoil: no alarm waits for an answer\n")


@pytest.fixture
def endpoint() -> Iterator[Endpoint]:
    with Endpoint() as one:
        yield one


def test_a_message_goes_the_whole_way(home: Home, endpoint: Endpoint) -> None:
    write_settings(home, [endpoint.url])
    done = run(home, "test-message")
    assert done.returncode == 0, done.stderr
    assert "watch.notify[1] (json): taken after" in done.stdout
    (arrival,) = endpoint.arrivals
    assert arrival.title == "A trial: this is how an alarm arrives"
    assert "nothing needs doing" in arrival.body
    assert arrival.pictures == 0
    assert "It goes with no link to answer by: [page] address" in done.stdout
    assert "It goes with no picture" in done.stdout


def test_an_address_that_does_not_take_it_is_named(home: Home, endpoint: Endpoint) -> None:
    endpoint.answer = lambda _: 500
    with Endpoint() as good:
        write_settings(home, [endpoint.url, good.url])
        done = run(home, "test-message", "--wait", "4")
        assert len(good.arrivals) == 1
    assert done.returncode == 1
    assert "watch.notify[1] (json): not taken: " in done.stdout
    assert "watch.notify[2] (json): taken" in done.stdout
    assert "1 of 2 addresses did not take it" in done.stderr
    write_settings(home)
    assert "no address for alarms" in run(home, "test-message").stderr


def test_an_alarm_comes_with_picture_and_links_and_is_acknowledged(
    tmp_path: Path, endpoint: Endpoint
) -> None:
    with Stage(tmp_path / "home", wall_ms() - 24 * HOUR_MS) as stage:
        write_care(stage.home, on_delay=0.03, on_delay_digesting=0.015, off_delay=0.02)
        write_settings(stage.home, [endpoint.url])
        with stage.home.settings.open("a") as file:
            file.write('[page]\naddress = "http://boas.home:8750"\n')
        now_ms = wall_ms()
        stage.commit(*((now_ms - n * MINUTE_MS, 31.0) for n in range(200, 0, -1)))
        with Feed(stage, warm_1=26.0), WatchProcess(stage.home) as watch:
            (alarm,) = endpoint.wait_for(1, 40.0)
            assert "I have seen it: http://boas.home:8750/answer/" in alarm.body
            assert alarm.body.splitlines()[-1] == f"Message {alarm.reference}"
            assert "without a picture" not in watch.log_text()
            assert alarm.pictures == 1
            assert run(stage.home, "acknowledge", "all").returncode == 0
            watch_state(stage.home, State.ACKNOWLEDGED)
            watch.end()


def watch_state(home: Home, state: State) -> None:
    """Wait until the watch has brought the alarm there."""
    deadline = wall_ms() + 10_000
    while wall_ms() < deadline:
        with AlarmStore(home.alarms) as store:
            if store.alarms()[LOW].state is state:
                return
    raise AssertionError(f"not {state}")
