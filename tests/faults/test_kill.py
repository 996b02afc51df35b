"""SIGKILL while fifty messages a second arrive: nothing is missing, nothing is there twice."""

from __future__ import annotations

import random
import threading
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.measured import Measured
from collector.readings import Quantity
from collector.senml import pack
from collector.store.check import check
from config.home import Home
from tests.broker import HOST, Mosquitto, broker
from tests.collector_process import CollectorProcess, make_home, stored
from tests.faults.record import Promise, told
from tests.plug import eventually
from tests.wire import Wire

__all__ = ["broker"]
pytestmark = pytest.mark.broker

A_SECOND = 50
TIMED, UNTIMED = "urn:dev:mac:0024beffff804ff1", "urn:dev:mac:0024beffff804ff2"


class Nodes:
    """Publishes numbered readings, every other one without a time, until told to stop.

    `taken` are those that the broker has acknowledged to us. With `timed` all have a time: for a
    broker that goes away, after which it is sent again what it may have already.
    """

    def __init__(self, port: int, *, timed: bool = False) -> None:
        self.taken: set[int] = set()
        self._timed = timed
        self._stop = threading.Event()
        self._client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        self._client.max_queued_messages_set(0)
        self._client.reconnect_delay_set(1, 1)
        self._acknowledged: set[int] = set()
        self._client.on_publish = lambda _c, _d, mid, *_: self._acknowledged.add(mid)
        self._client.connect(HOST, port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def stop(self) -> None:
        self._stop.set()
        self._thread.join()
        self._client.disconnect()
        self._client.loop_stop()

    def _run(self) -> None:
        began_ms = time.time_ns() // 1_000_000
        due_s = time.monotonic()
        sent: list[int] = []
        while not self._stop.wait(max(0.0, due_s - time.monotonic())):
            due_s += 1 / A_SECOND
            sent.append(self._publish(len(sent), began_ms))
        eventually(lambda: all(mid in self._acknowledged for mid in sent))
        self.taken = {count for count, mid in enumerate(sent) if mid in self._acknowledged}

    def _publish(self, count: int, began_ms: int) -> int:
        timed = self._timed or count % 2 == 0
        one = Measured(
            TIMED if timed else UNTIMED,
            Quantity.VOLTAGE,  # nothing is doubted of it, so that a number can stand in it
            float(count),
            at_ms=began_ms + count * 10 if timed else None,
        )
        # Without a connection it waits in the client; the id alone says when the broker has it.
        return self._client.publish("warmcoil/nodes/senml", pack([one]), qos=1).mid


@pytest.mark.timeout(3600)
@pytest.mark.parametrize("acknowledgements", ["arrive", "are lost"])
def test_killed_while_messages_arrive(
    broker: Mosquitto, tmp_path: Path, acknowledgements: str, times: Callable[[int, int], int]
) -> None:
    kills = times(2, 100)
    wire = Wire(broker.port)
    home = make_home(
        tmp_path / "home",
        f"""
        [collect]
        commit_seconds = 0.5
        seal_minutes = 0.01
        [mqtt]
        host = "{HOST}"
        port = {wire.port}
        """,
    )
    chance = random.Random(20260101)
    subscribe_once(home)
    nodes = Nodes(broker.port)
    slowest_s = 0.0
    for kill in range(kills):
        began_s = time.monotonic()
        if kill % 3 < 2:
            collector = connected(home)
            slowest_s = max(slowest_s, time.monotonic() - began_s)
        else:  # perhaps before it has begun
            collector = CollectorProcess(home)
        time.sleep(chance.uniform(0.0, 3.0))
        if acknowledgements == "are lost":
            wire.deafen()
            time.sleep(chance.uniform(0.2, 1.5))
        assert collector.alive()
        collector.kill()
        wire.mend()
        collector.log.unlink()
        assert check(home.journal, home.archive) == []
    nodes.stop()
    assert len(nodes.taken) > 25 * kills
    collector = connected(home)
    assert eventually(lambda: {int(one.raw) for one in stored(home)} >= nodes.taken, 20)
    time.sleep(0.5)  # for what might come twice
    assert collector.stop()[0] == 0
    wire.close()
    counts = Counter(int(one.raw) for one in stored(home))
    assert set(counts) == nodes.taken
    assert [number for number, count in counts.items() if count > 1] == []
    if acknowledgements == "are lost":
        assert collector.state()["sources"]["mqtt"]["dropped"].keys() <= {"delivered again"}
    fault = f"SIGKILL of the collector, {A_SECOND} messages a second, answers {acknowledgements}"
    of = f"readings of {len(nodes.taken):,}"
    told(Promise.KEPT, fault, tried=kills, of=of)
    note = f"the slowest start, to the broker's answer: {slowest_s:.1f} s"
    told(Promise.OPENS, fault, tried=kills, of="files", note=note)


def connected(home: Home) -> CollectorProcess:
    collector = CollectorProcess(home)
    assert eventually(lambda: collector.said("mqtt: subscribed"), 20)
    return collector


def subscribe_once(home: Home) -> None:
    """The broker keeps messages for a session that it knows."""
    collector = connected(home)
    time.sleep(0.3)
    assert collector.stop()[0] == 0
    collector.log.unlink()
