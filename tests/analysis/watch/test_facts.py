"""What the watch knows of the monitor itself, from the collector's own file and the disk."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from analysis.watch.facts import Account, Facts
from analysis.watch.rules import SourceState
from analysis.watch.states import HOUR_MS, AlarmKey, Kind
from collector.counts import Counts
from collector.rfc3339 import parse
from config.home import Home

SINCE = "2026-03-04T03:12:00Z"


def write(home: Home, **changes: object) -> None:
    said = {
        "at": SINCE, "pid": os.getpid(), "store": "written", "uncommitted": 0, "held": 0,
        "sources": {"mqtt": {"connected": False, "since": SINCE}, "serial x": {"since": None}},
    }  # fmt: skip
    home.collector_state.write_text(json.dumps(said | changes), "utf-8")


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return Home(tmp_path)


def test_what_the_collector_says(home: Home) -> None:
    write(home)
    mqtt = SourceState("mqtt", False, parse(SINCE))
    assert Facts(home).account() == Account((mqtt,), "written", 0, ended=False)
    assert mqtt.key == AlarmKey(Kind.BROKER_AWAY)
    assert SourceState("serial x", True, 0).key == AlarmKey(Kind.LINE_AWAY, "", "serial x")


def test_its_names_are_the_collectors_own() -> None:
    """The broker is known by the name under which the collector counts it."""
    from collector.sources import mqtt

    counts = Counts(lambda: 0)
    counts.connection(mqtt.MqttBroker.name, up=False)
    assert [SourceState(n, False, 0).key.kind for n in counts.tallies()] == [Kind.BROKER_AWAY]


def test_a_process_that_has_ended(home: Home) -> None:
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    write(home, pid=gone.pid)
    assert Facts(home).account().ended is True


@pytest.mark.parametrize("text", ["", "{", "[]", '{"sources": 3}', '{"sources": {"mqtt": 1}}'])
def test_no_file_or_one_that_says_nothing(home: Home, text: str) -> None:
    assert Facts(home).account() == Account()
    home.collector_state.write_text(text, "utf-8")
    account = Facts(home).account()
    assert (account.sources or (), account.ended) == ((), None)


def test_it_is_read_again_when_it_was_replaced(home: Home) -> None:
    facts = Facts(home)
    write(home)
    assert facts.account().held == 0
    write(home, held=3, store="disk full")
    series = facts.series(facts.account(), clock_sure=True, now_ms=5)
    assert {s.key.kind: s.points[0][1] for s in series[1:]} == {
        Kind.CLOCK_UNSURE: 1.0, Kind.NOT_WRITTEN: 1.0,
    }  # fmt: skip


def test_free_space_is_that_of_the_homes_file_system(home: Home) -> None:
    free = os.statvfs(home.folder)
    assert Facts(home).free_mb(0) == pytest.approx(free.f_bavail * free.f_frsize / 1e6, rel=0.05)


def test_the_time_to_full_by_the_pace_of_the_last_hours(
    home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    facts = Facts(home)
    free = {"blocks": 1_000_000}

    class Room:
        f_frsize = 1_000

        @property
        def f_bavail(self) -> int:
            return free["blocks"]

    monkeypatch.setattr(os, "statvfs", lambda _: Room())
    for hour in range(13):
        facts.free_mb(hour * HOUR_MS)
        if hour < 6:
            assert facts.hours_to_full() is None  # too soon to say
        free["blocks"] -= 10_000  # 10 MB an hour
    assert facts.hours_to_full() == pytest.approx(88.0)
    free["blocks"] = 5_000_000
    facts.free_mb(20 * HOUR_MS)
    assert facts.hours_to_full() is None  # it does not fill
