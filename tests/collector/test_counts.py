"""Counting, and saying so sparingly."""

from __future__ import annotations

import logging

import pytest

from collector.counts import Counts


def test_a_reason_is_said_once_a_minute_with_how_often(caplog: pytest.LogCaptureFixture) -> None:
    now_s = 0.0
    counts = Counts(lambda: 0, lambda: now_s)
    with caplog.at_level(logging.WARNING, "collector"):
        for _ in range(1000):
            counts.drop("serial /dev/x", "no checksum", "12 bytes")
        now_s = 59.0
        counts.drop("serial /dev/x", "wrong checksum")
        counts.drop("serial /dev/x", "no checksum", "13 bytes")
        now_s = 61.0
        counts.drop("serial /dev/x", "no checksum", "14 bytes")
    assert caplog.messages == [
        "serial /dev/x: dropped: no checksum: 12 bytes",
        "serial /dev/x: dropped: wrong checksum",
        "serial /dev/x: dropped: no checksum: 14 bytes (1001 times since last said)",
    ]
    assert counts.tallies()["serial /dev/x"].dropped == {"no checksum": 1002, "wrong checksum": 1}


def test_each_probe_is_named_up_to_a_bound(caplog: pytest.LogCaptureFixture) -> None:
    counts = Counts(lambda: 0, lambda: 0.0)
    with caplog.at_level(logging.WARNING, "collector"):
        for turn in range(2000):
            name = f"probe {turn % 1000}"
            counts.drop("mqtt", "sensor fault", f"{name}: no answer", about=name)
    assert caplog.messages[:2] == [
        "mqtt: dropped: sensor fault: probe 0: no answer",
        "mqtt: dropped: sensor fault: probe 1: no answer",
    ]
    assert 250 < len(caplog.messages) < 260
    assert counts.tallies()["mqtt"].dropped == {"sensor fault": 2000}


def test_nothing_that_came_over_the_wire_can_break_a_log_line(
    caplog: pytest.LogCaptureFixture,
) -> None:
    counts = Counts(lambda: 0)
    with caplog.at_level(logging.WARNING, "collector"):
        counts.drop("mqtt", "unreadable", "a\nb\x1b[31m" + "x" * 1000)
    (message,) = caplog.messages
    assert message.startswith("mqtt: dropped: unreadable: a?b?[31mxxx")
    assert len(message) < 400


def test_since_when_a_source_is_connected() -> None:
    now_ms = 5
    counts = Counts(lambda: now_ms)
    counts.connection("s", up=False)
    now_ms = 7
    counts.connection("s", up=False)
    assert counts.tallies()["s"].since_ms == 5
    counts.connection("s", up=True)
    now_ms = 9
    counts.connection("s", up=True)
    tally = counts.tallies()["s"]
    assert (tally.connected, tally.since_ms) == (True, 7)
