"""The demo home's settings say what they should, and go on saying it when a port is taken."""

from __future__ import annotations

from pathlib import Path

from analysis.demo.calendar import Calendar
from analysis.demo.collection import LEFT_WARM
from analysis.demo.settings import demo_settings, with_broker
from analysis.demo.story import write_story
from config.settings import parse_settings
from hardware.rack.broker import Broker

STORY = write_story(Calendar(1_795_600_800_000, 400), 7)
FIVE = Broker("mosquitto", (), "5")
OLD = Broker("amqtt", (), "3.1.1")


def text(broker: Broker = FIVE, serial: str = "/home/someone/demo/serial") -> str:
    return demo_settings(
        STORY, serial=Path(serial), broker=broker, broker_port=4711,
        page_port=4712,
    )  # fmt: skip


def test_they_are_settings() -> None:
    settings = parse_settings(text(), "here")
    assert settings.serial[0].port == "/home/someone/demo/serial"
    assert (settings.mqtt.host, settings.mqtt.port, settings.mqtt.protocol) == (
        "127.0.0.1", 4711, "5",
    )  # fmt: skip
    assert settings.page.port == 4712
    assert settings.time_zone == "Europe/Lisbon"
    assert settings.watch.notify == ()
    assert len(settings.probe) == 12
    (calibrated,) = [p for p in settings.probe if p.temperature_offset_c is not None]
    assert calibrated.id == LEFT_WARM.probe
    # The keeper's correction takes off what the probe reads too much.
    assert calibrated.temperature_offset_c == -LEFT_WARM.offset_c


def test_any_path_can_be_said() -> None:
    odd = '/home/some one\'s "demo" \\ é/serial'
    assert parse_settings(text(serial=odd), "here").serial[0].port == odd


def test_amqtt_needs_an_older_protocol_a_name_and_quick_commits() -> None:
    settings = parse_settings(text(OLD), "here")
    assert settings.mqtt.protocol == "3.1.1"
    assert settings.mqtt.username is not None
    assert settings.collect.commit_seconds < 5


def test_another_broker_changes_its_two_lines_and_nothing_else() -> None:
    mine = text().replace("notify = []", 'notify = ["json://localhost:1/"]  # port = 7')
    changed = with_broker(mine, OLD, 5000)
    settings = parse_settings(changed, "here")
    assert (settings.mqtt.port, settings.mqtt.protocol) == (5000, "3.1.1")
    before, after = mine.splitlines(), changed.splitlines()
    assert sum(a != b for a, b in zip(before, after, strict=True)) == 2
    assert settings.page.port == 4712
    assert with_broker(changed, FIVE, 4711) == mine
