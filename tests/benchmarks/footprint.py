"""Measures a running collector: `python -m tests.benchmarks.footprint [FOLDER] [--minutes M]`.

`warmcoil collect` as a process of its own beside a real mosquitto; sixteen nodes send a reading
every 10 s each. Its memory and its share of a core come from the kernel's account of it. Beside
them a process that has only imported what the collector imports. Over an hour a sealing is in it.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from tests.benchmarks.figures import Line, cpu_s, figure, resident_mb, say
from tests.broker import HOST, Mosquitto
from tests.collector_process import CollectorProcess, make_home
from tests.plug import eventually

NODES = 16
EVERY_S = 10.0
_SETTLES_S = 30.0
_IMPORTS = """
import collector.__main__, collector.collecting, collector.pipeline, collector.sources.mqtt, sys
sys.stdout.write("ready\\n"); sys.stdout.flush(); sys.stdin.read()
"""


def main() -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.footprint")
    parser.add_argument("folder", nargs="?")
    parser.add_argument("--minutes", type=float, default=10.0)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=given.folder) as folder:
        for line in measured(Path(folder), given.minutes * 60.0):
            say(line)


def measured(folder: Path, seconds: float) -> Iterator[Line]:
    """The collector's memory at the end and at most, and its share of a core."""
    (folder / "broker").mkdir()
    broker = Mosquitto(folder / "broker")
    broker.start()
    try:
        text = f'time_zone = "UTC"\n[mqtt]\nhost = "{HOST}"\nport = {broker.port}\n'
        collector = CollectorProcess(make_home(folder / "home", text))
        assert eventually(lambda: collector.said("mqtt: subscribed"), 60.0)
        _send(broker.port, _SETTLES_S)
        began_s, began_cpu_s = time.monotonic(), cpu_s(collector.pid)
        most_mb = _send(broker.port, seconds, collector.pid)
        share = (cpu_s(collector.pid) - began_cpu_s) / (time.monotonic() - began_s)
        memory_mb = resident_mb(collector.pid)
        collector.stop()
    finally:
        broker.stop()
    bare_mb = _bare_imports()
    minutes = round(seconds / 60, 1)
    yield figure(
        "memory of collect", memory_mb, "MB", goal="≤ 42", beside={"the bare imports": bare_mb},
        minutes=minutes, most=round(most_mb, 1), probes=NODES,
    )  # fmt: skip
    yield figure("processor for collect", share * 100, "% of a core", goal="≤ 0.3", minutes=minutes)


def _send(port: int, seconds: float, watched: int | None = None) -> float:
    """Send as the nodes do for so long; the most memory seen of the process that is watched."""
    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
    client.connect(HOST, port)
    client.loop_start()
    most_mb, until_s, n = 0.0, time.monotonic() + seconds, 0
    while time.monotonic() < until_s:
        node = n % NODES
        value = 31.0 + (n * 7 % 11) / 16
        client.publish(
            f"warmcoil/node-{node}/senml",
            f'[{{"n":"urn:dev:mac:0024beffff80{node:04x}","u":"Cel","v":{value}}}]',
            qos=1,
        )
        if watched is not None:
            most_mb = max(most_mb, resident_mb(watched))
        n += 1
        time.sleep(EVERY_S / NODES)
    client.disconnect()
    client.loop_stop()
    return most_mb


def _bare_imports() -> float:
    command = [sys.executable, "-c", _IMPORTS]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"ready\n"
        memory_mb = resident_mb(process.pid)
        process.communicate(b"")
    return memory_mb


if __name__ == "__main__":
    main()
