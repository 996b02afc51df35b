"""A thousand enclosures here: `python -m tests.campaigns.many [FOLDER] [--enclosures N]`.

Four probes each, a reading every 30 s from every one of them, over a real mosquitto into `warmcoil
collect`, with `warmcoil watch` beside it; ten minutes of it. One warm side in fifty is cold, so
that alarms come too. Prints JSON lines: what each process takes of a core and of memory, how old
the newest reading is when a reader sees it, how far apart two evaluations of the watch are, and
what each would take at 100,000 enclosures if it grew in proportion.

What would stand first at a whole core is what saturates first. How fast the collector takes
readings when it has nothing else to do: `python -m tests.benchmarks.intake`.
"""

from __future__ import annotations

import argparse
import random
import tempfile
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from analysis.watch.alarm_store import AlarmStore
from collector.book.book import Book
from collector.book.records import Animal, Enclosure, Meal, Placement, Stay, Zone
from collector.store.reader import Reader
from config.home import Home
from tests.analysis.watch.stage import WatchProcess
from tests.benchmarks.figures import Line, cpu_s, figure, resident_mb, say
from tests.broker import HOST, Mosquitto
from tests.collector_process import CollectorProcess, make_home
from tests.plug import eventually

EVERY_S = 30.0
HUGE = 100_000
_LOOK_S = 5.0
_DAY_MS = 86_400_000


def main() -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.many")
    parser.add_argument("folder", nargs="?")
    parser.add_argument("--enclosures", type=int, default=1_000)
    parser.add_argument("--minutes", type=float, default=10.0)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=given.folder) as folder:
        for line in simulated(Path(folder), given.enclosures, given.minutes * 60.0):
            say(line)


def simulated(folder: Path, enclosures: int, seconds: float) -> Iterator[Line]:
    """Ten minutes of so many enclosures."""
    (folder / "broker").mkdir()
    broker = Mosquitto(folder / "broker", "allow_anonymous true", "max_queued_messages 0")
    broker.start()
    try:
        home = _home(folder / "home", broker.port, enclosures)
        collector = CollectorProcess(home)
        assert eventually(lambda: collector.said("mqtt: subscribed"), 60.0)
        nodes = Nodes(broker.port, enclosures)
        with WatchProcess(home) as watch:
            pids = {"collect": collector.pid, "watch": watch.pid}
            seen = Seen(home)
            time.sleep(2 * EVERY_S)  # every probe has spoken, and the watch has begun
            before = {name: cpu_s(pid) for name, pid in pids.items()}
            began_s = time.monotonic()
            while time.monotonic() - began_s < seconds:
                time.sleep(_LOOK_S)
                seen.look()
            took_s = time.monotonic() - began_s
            used = {name: (cpu_s(pid) - before[name]) / took_s for name, pid in pids.items()}
            yield from _said(enclosures, used, {n: resident_mb(p) for n, p in pids.items()}, seen)
            watch.end()
        nodes.stop()
        collector.stop()
        yield _complete(home, nodes)
    finally:
        broker.stop()


@dataclass(slots=True)
class Seen:
    """What a reader and the watch's own note of its evaluations show, look by look."""

    home: Home
    oldest_s: list[float] = field(default_factory=list)
    evaluated_ms: set[int] = field(default_factory=set)
    alarms: int = 0

    def look(self) -> None:
        """How old the newest reading of the whole is, and when the watch was last at it."""
        with Reader(self.home.journal, self.home.archive) as reader:
            newest_ms = max((one.at_ms for one in reader.latest().values()), default=0)
        self.oldest_s.append(time.time() - newest_ms / 1000)
        store = AlarmStore(self.home.alarms)
        try:
            watching = store.watching()
            if watching is not None:
                self.evaluated_ms.add(watching.seen_ms)
            self.alarms = len(store.alarms())
        finally:
            store.close()

    def pause_s(self) -> float:
        """The longest time between two notes of the watch that were seen."""
        times = sorted(self.evaluated_ms)
        return max((b - a for a, b in pairwise(times)), default=0) / 1000


class Nodes:
    """One node an enclosure; its four readings come one message after the other."""

    def __init__(self, port: int, enclosures: int) -> None:
        self.sent: dict[str, int] = {}
        self._enclosures = enclosures
        self._stop = threading.Event()
        self._client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        self._client.max_queued_messages_set(0)
        self._client.max_inflight_messages_set(1_000)
        self._client.connect(HOST, port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def stop(self) -> None:
        """No more readings; those on their way arrive."""
        self._stop.set()
        self._thread.join()
        assert eventually(lambda: not self._client.want_write(), 60.0)
        time.sleep(2.0)
        self._client.disconnect()
        self._client.loop_stop()

    def _run(self) -> None:
        rng = random.Random(1)
        pause_s = EVERY_S / (self._enclosures * len(_PROBES))
        due_s, n = time.monotonic(), 0
        while not self._stop.is_set():
            one, kind = divmod(n % (self._enclosures * len(_PROBES)), len(_PROBES))
            name, unit, level, _ = _PROBES[kind]
            level = 24.0 if name == "warm" and one % 50 == 7 else level
            value = round((level + rng.gauss(0, 0.2)) * 16) / 16
            probe = f"{name}-{one}"
            at_s = round(time.time(), 3)
            text = f'[{{"n":"{probe}","u":"{unit}","t":{at_s},"v":{value}}}]'
            self._client.publish(f"warmcoil/node-{one}/senml", text, qos=1)
            self.sent[probe] = self.sent.get(probe, 0) + 1
            n, due_s = n + 1, due_s + pause_s
            self._stop.wait(max(0.0, due_s - time.monotonic()))


_PROBES = (
    ("warm", "Cel", 31.0, Zone.WARM_SIDE),
    ("cool", "Cel", 25.0, Zone.COOL_SIDE),
    ("hide", "Cel", 29.0, Zone.HIDE),
    ("damp", "%RH", 65.0, Zone.COOL_SIDE),
)


def _home(folder: Path, port: int, enclosures: int) -> Home:
    home = make_home(
        folder,
        f'time_zone = "UTC"\n[mqtt]\nhost = "{HOST}"\nport = {port}\n',
    )
    now_ms = time.time_ns() // 1_000_000
    since_ms = now_ms - 30 * _DAY_MS
    with Book(home.book) as book, book.transaction():
        for one in range(enclosures):
            book.put(Enclosure(f"E{one}", f"room {one // 40}"))
            book.put(Animal(f"A{one}"))
            book.put(Stay(f"A{one}", f"E{one}", since_ms))
            for name, _, _, zone in _PROBES:
                book.put(Placement(f"{name}-{one}", f"E{one}", zone, since_ms))
            taken_ms = now_ms - (one % 14) * _DAY_MS
            book.put(Meal(0, f"A{one}", taken_at_ms=taken_ms, prey="rat", prey_mass_g=150.0))
    return home


def _said(
    enclosures: int, used: Mapping[str, float], memory_mb: Mapping[str, float], seen: Seen
) -> Iterator[Line]:
    of = {"enclosures": enclosures, "readings_a_second": round(enclosures * 4 / EVERY_S, 1)}
    more = HUGE / enclosures
    ages = sorted(seen.oldest_s)
    lines = [
        figure(
            f"processor for {name}", share * 100, "% of a core",
            cores_at_100000=round(share * more, 1),
        )
        for name, share in used.items()
    ]  # fmt: skip
    lines += [
        figure(f"memory of {name}", mb, "MB", gb_at_100000=round(mb * more / 1000, 1))
        for name, mb in memory_mb.items()
    ]
    lines += [
        figure("age of the newest reading seen, p50", _share(ages, 50), "s"),
        figure("age of the newest reading seen, most", ages[-1], "s"),
        figure("longest time between evaluations that were noted", seen.pause_s(), "s"),
        figure("alarms", seen.alarms, ""),
    ]
    for line in lines:
        yield {**line, **of}


def _share(ordered: Sequence[float], share: int) -> float:
    return ordered[min(len(ordered) - 1, len(ordered) * share // 100)]


def _complete(home: Home, nodes: Nodes) -> Line:
    """How many of the readings that were sent are in the store."""
    with Reader(home.journal, home.archive) as reader:
        stored = sum(span.count for span in reader.series().values())
    sent = sum(nodes.sent.values())
    return figure("readings stored", stored, "", beside={"sent": sent})


if __name__ == "__main__":
    main()
