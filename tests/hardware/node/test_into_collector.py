"""The firmware under real MicroPython, over a real pty and a real broker, into the collector.

A probe is unplugged and plugged in again: what was read is stored as it was, what could not be
read is a fault by name, and never a number.
"""

from __future__ import annotations

import os
import tty
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from collector.readings import Flag, Quantity, Reading
from tests.broker import HOST, Mosquitto, broker
from tests.collector_process import CollectorProcess, make_home, stored
from tests.hardware.node.stand import (
    AIR,
    BOARD,
    COOL,
    ROMS,
    SHT_AT,
    WARM,
    NodeProcess,
    TimeServer,
    over_mqtt,
)
from tests.plug import eventually
from tests.wire import Wire

__all__ = ["broker"]
pytestmark = pytest.mark.broker

SETTINGS = """
[collect]
commit_seconds = 0.2
"""


@pytest.fixture
def stack() -> Iterator[ExitStack]:
    with ExitStack() as made:
        yield made


@pytest.fixture
def time_server(stack: ExitStack) -> TimeServer:
    made = TimeServer()
    stack.callback(made.close)
    return made


def collecting(stack: ExitStack, folder: Path, settings: str) -> CollectorProcess:
    collector = CollectorProcess(make_home(folder, SETTINGS + settings))
    stack.callback(collector.kill)
    return collector


def of(
    readings: list[Reading], probe: str, quantity: Quantity = Quantity.TEMPERATURE
) -> list[float]:
    """The raw values of one probe, oldest first."""
    mine = [one for one in readings if (one.probe, one.quantity) == (probe, quantity)]
    return [one.raw for one in sorted(mine, key=lambda one: one.at_ms)]


def unplug_and_plug(node: NodeProcess, collector: CollectorProcess) -> None:
    """Both kinds of sensor lose contact, and find it again."""
    home = collector.home
    assert eventually(lambda: min(len(of(stored(home), p)) for p in (WARM, COOL, AIR)) >= 2, 30)
    node.tell(f"unplug {ROMS[1]}")
    node.tell(f"unplug {SHT_AT}")
    assert eventually(lambda: collector.said(f"{COOL}: no answer"), 20)
    assert eventually(lambda: collector.said(f"{AIR}: no answer"), 20)
    cool, warm = len(of(stored(home), COOL)), len(of(stored(home), WARM))
    assert eventually(lambda: len(of(stored(home), WARM)) >= warm + 2, 20)
    assert len(of(stored(home), COOL)) == cool
    node.tell(f"plug {ROMS[1]}")
    node.tell(f"plug {SHT_AT}")
    assert eventually(lambda: len(of(stored(home), COOL)) >= cool + 2, 20)
    assert eventually(lambda: of(stored(home), AIR)[-1] == 25.0, 20)


def check(node: NodeProcess, readings: list[Reading]) -> None:
    """What is stored is what the sensors said: nothing missing before the last, nothing twice."""
    for probe in (WARM, COOL):
        taken, kept = node.values(probe), of(readings, probe)
        assert kept == taken[: len(kept)]
        assert len(taken) - len(kept) <= 1
    assert set(of(readings, AIR)) == {25.0}
    # 55 % is 55.0004 or 54.9998 in steps of the sensor's 125/65535 %RH (datasheet).
    assert set(of(readings, AIR, Quantity.HUMIDITY)) == {54.9998}
    assert {one.probe for one in readings} == {WARM, COOL, AIR}
    assert all(one.flags == Flag.NONE for one in readings)


def test_over_a_serial_line(stack: ExitStack, tmp_path: Path) -> None:
    ours, theirs = os.openpty()
    stack.callback(os.close, ours)
    stack.callback(os.close, theirs)
    tty.setraw(theirs)
    collector = collecting(stack, tmp_path / "home", f'[[serial]]\nport = "{os.ttyname(theirs)}"\n')
    assert eventually(lambda: collector.said(": open"))
    node = NodeProcess(tmp_path / "node", {"speak": "serial"})
    stack.callback(node.kill)
    node.start(ours)
    unplug_and_plug(node, collector)
    node.kill()
    assert eventually(lambda: collector.stop()[0] == 0)
    check(node, stored(collector.home))


def test_over_mqtt_with_a_broken_wire(
    broker: Mosquitto, stack: ExitStack, time_server: TimeServer, tmp_path: Path
) -> None:
    wire = Wire(broker.port)
    stack.callback(wire.close)
    collector = collecting(
        stack, tmp_path / "home", f'[mqtt]\nhost = "{HOST}"\nport = {broker.port}\n'
    )
    assert eventually(lambda: collector.said("mqtt: subscribed"))
    node = NodeProcess(tmp_path / "node", over_mqtt(wire.port, time_server))
    stack.callback(node.kill)
    node.start()
    unplug_and_plug(node, collector)

    wire.deafen()  # what the node says now is lost, and no acknowledgement comes
    count = len(node.values(WARM))
    assert eventually(lambda: len(node.values(WARM)) >= count + 2)
    wire.mend()
    broker.stop()
    assert eventually(lambda: len(node.values(WARM)) >= count + 4)
    broker.start()
    assert eventually(
        lambda: len(of(stored(collector.home), WARM)) >= len(node.values(WARM)) - 1 >= count + 5, 60
    )
    assert eventually(lambda: collector.said(f"{BOARD}: the node is gone"), 20)
    node.kill()
    assert eventually(lambda: collector.stop()[0] == 0)
    check(node, stored(collector.home))


def test_a_node_that_hangs_is_started_again_by_its_watchdog(tmp_path: Path) -> None:
    node = NodeProcess(tmp_path / "node", {"speak": "serial"}, slack_ms=1000)
    node.start()
    assert eventually(lambda: len(node.values(WARM)) >= 1)
    node.tell("freeze")
    assert node.ended(20) == 3
    assert not node.said("Traceback")
