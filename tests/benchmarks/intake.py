"""Measures the intake over MQTT: `python -m tests.benchmarks.intake [FOLDER] [--messages N]`.

A real mosquitto holds N messages at QoS 1 for a session that is away. Then that session's owner
comes, and the seconds until it has them all are counted: `warmcoil collect`, which acknowledges
only what its journal has; and beside it a bare paho subscriber that only counts, with paho's own
acknowledgement and as many messages in flight. The last few, which are committed when the usual
pause is over, are not waited for. One JSON line a figure.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from collector.pipeline import COMMIT_AT_UNACKNOWLEDGED
from collector.sources.mqtt_client import IN_FLIGHT
from collector.store.reader import Reader
from tests.benchmarks.figures import Line, cpu_s, figure, say
from tests.broker import HOST, Mosquitto
from tests.collector_process import CollectorProcess, make_home, stored
from tests.plug import eventually

START_S = 1_767_225_600
NODES = 16
_PATIENCE_S = 600.0


def main() -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.intake")
    parser.add_argument("folder", nargs="?")
    parser.add_argument("--messages", type=int, default=30_000)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=given.folder) as folder:
        for line in measured(Path(folder), given.messages):
            say(line)


def measured(folder: Path, count: int) -> Iterator[Line]:
    """Messages a second and processor time a message, ours and the bare subscriber's."""
    with _broker(folder) as broker:
        ours_s, ours_cpu_s, stored_count = _collector(folder, broker, count)
        bare_s, bare_cpu_s = _subscriber(broker, count)
    if stored_count != count:
        raise AssertionError(f"{stored_count} of {count} readings are in the store")
    yield figure(
        "durable intake over MQTT, QoS 1", count / ours_s, "messages/s",
        goal="≥ 0.7 × the subscriber", beside={"a bare paho subscriber": count / bare_s},
        messages=count,
    )  # fmt: skip
    yield figure(
        "processor for a message taken in", ours_cpu_s / count * 1e6, "µs",
        beside={"a bare paho subscriber": bare_cpu_s / count * 1e6},
    )  # fmt: skip


@contextmanager
def _broker(folder: Path) -> Iterator[Mosquitto]:
    (folder / "broker").mkdir()
    broker = Mosquitto(folder / "broker", "allow_anonymous true", "max_queued_messages 0")
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()


def _collector(folder: Path, broker: Mosquitto, count: int) -> tuple[float, float, int]:
    """Seconds, processor seconds, and what is in the store afterwards."""
    text = f'time_zone = "UTC"\n[mqtt]\nhost = "{HOST}"\nport = {broker.port}\n'
    home = make_home(folder / "home", text)
    once = CollectorProcess(home)
    assert eventually(lambda: once.said("mqtt: subscribed"))
    once.stop()
    publish(broker.port, count)
    collector = CollectorProcess(home)
    assert eventually(lambda: collector.said("mqtt: subscribed"))
    began_s, began_cpu_s = time.perf_counter(), cpu_s(collector.pid)
    with Reader(home.journal, home.archive) as reader:
        last = reader_has(reader, count - COMMIT_AT_UNACKNOWLEDGED)
    took_s, took_cpu_s = last - began_s, cpu_s(collector.pid) - began_cpu_s
    collector.stop()
    return took_s, took_cpu_s, len(stored(home))


def reader_has(reader: Reader, count: int) -> float:
    """The moment at which a reader sees that many readings."""
    until_s = time.perf_counter() + _PATIENCE_S
    while time.perf_counter() < until_s:
        if sum(span.count for span in reader.series().values()) >= count:
            return time.perf_counter()
        time.sleep(0.05)
    raise AssertionError("the collector did not take everything in")


def _subscriber(broker: Mosquitto, count: int) -> tuple[float, float]:
    """Seconds and processor seconds of the bare subscriber, a process of its own."""
    command = [sys.executable, "-m", __spec__.name, "subscriber", str(broker.port), str(count)]
    subprocess.run([*command[:-1], "0"], check=True, stdout=subprocess.DEVNULL)  # its session stays
    publish(broker.port, count)
    output = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    seconds, processor = output.split()
    return float(seconds), float(processor)


def subscriber(port: int, count: int) -> None:
    """Count the messages of a session that was kept; print seconds and processor seconds."""
    seen, began_s = 0, 0.0
    client = paho.Client(CallbackAPIVersion.VERSION2, client_id="counts", protocol=paho.MQTTv5)

    def on_message(*_: object) -> None:
        nonlocal seen
        seen += 1
        if seen == count:
            client.disconnect()

    def on_connect(*_: object) -> None:
        nonlocal began_s
        began_s = time.perf_counter()
        options = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND)
        client.subscribe([("warmcoil/+/senml", options)])

    def on_subscribe(*_: object) -> None:
        if not count:
            client.disconnect()

    client.on_message, client.on_connect = on_message, on_connect
    client.on_subscribe = on_subscribe
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # paho's gap
    properties.SessionExpiryInterval = 3_600
    properties.ReceiveMaximum = IN_FLIGHT
    before_s = time.process_time()
    client.connect(HOST, port, clean_start=False, properties=properties)
    client.loop_forever()
    took_s, took_cpu_s = time.perf_counter() - began_s, time.process_time() - before_s
    sys.stdout.write(f"{took_s} {took_cpu_s}\n")


def publish(port: int, count: int) -> None:
    """Hand the broker so many messages of a reading each, and wait until it has them."""
    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
    client.max_queued_messages_set(0)
    client.max_inflight_messages_set(1_000)
    client.connect(HOST, port)
    client.loop_start()
    sent = []
    for n in range(count):
        node, step = n % NODES, n // NODES
        payload = (
            f'[{{"n":"urn:dev:mac:0024beffff80{node:04x}","u":"Cel",'
            f'"t":{START_S + 10 * step},"v":{30 + (n % 97) / 16}}}]'
        )
        sent.append(client.publish(f"warmcoil/node-{node}/senml", payload, qos=1))
    for one in sent:
        one.wait_for_publish(_PATIENCE_S)
    client.disconnect()
    client.loop_stop()


if __name__ == "__main__":
    if sys.argv[1:2] == ["subscriber"]:
        subscriber(int(sys.argv[2]), int(sys.argv[3]))
    else:
        main()
