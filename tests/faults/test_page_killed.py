"""SIGKILL of the page while it is asked as fast as it answers: no reading and no alarm is lost.

Collector, watch and page are real processes over one home; readings come through a real broker,
the alarm goes to a real HTTP endpoint. They meet only in the files.
"""

from __future__ import annotations

import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from http.client import HTTPConnection, HTTPException
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from analysis.checking import check_home
from analysis.watch.alarm_store import AlarmStore
from analysis.watch.states import Cause, Kind
from collector.book.records import Meal
from collector.measured import Measured
from collector.readings import Quantity
from collector.senml import pack
from config.home import Home
from config.settings import load_settings
from tests.analysis.watch.endpoint import Endpoint
from tests.analysis.watch.stage import HOUR_MS, Stage, WatchProcess, wall_ms, write_care
from tests.broker import HOST, Mosquitto, broker
from tests.collector_process import stored
from tests.faults.record import Promise, told
from tests.faults.test_kill import TIMED, UNTIMED, Nodes, connected, subscribe_once
from tests.page_process import PageProcess
from tests.plug import eventually

__all__ = ["broker"]
pytestmark = [pytest.mark.broker, pytest.mark.timeout(3600)]
"""Three processes begin anew; on a busy machine that alone takes a minute."""

ASKED = ("/", "/meal/1", "/api/meals/1/plot", "/api/probes", "/healthz")
WARM_C, COLD_C = 31.0, 26.4


class WarmSide:
    """A probe that says its temperature five times a second."""

    def __init__(self, port: int) -> None:
        self.celsius = WARM_C
        self._stop = threading.Event()
        self._client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        self._client.connect(HOST, port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.wait(0.2):
            one = Measured("warm-1", Quantity.TEMPERATURE, self.celsius, at_ms=wall_ms())
            self._client.publish("warmcoil/nodes/senml", pack([one]), qos=1)

    def stop(self) -> None:
        self._stop.set()
        self._thread.join()
        self._client.disconnect()
        self._client.loop_stop()


class Askers:
    """Four that ask the page for everything, over and over; they outlive its deaths."""

    def __init__(self, page: PageProcess) -> None:
        self.page = page
        self.statuses: Counter[int] = Counter()
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._run, args=(n,)) for n in range(4)]
        for one in self._threads:
            one.start()

    def _run(self, n: int) -> None:
        while not self._stop.is_set():
            n += 1
            connection = HTTPConnection(HOST, self.page.port, timeout=20)
            try:
                connection.request("GET", ASKED[n % len(ASKED)])
                answer = connection.getresponse()
                answer.read()
                self.statuses[answer.status] += 1
            except (OSError, HTTPException):
                time.sleep(0.05)  # it was killed just now
            finally:
                connection.close()

    def stop(self) -> None:
        self._stop.set()
        for one in self._threads:
            one.join()


@contextmanager
def asked(page: PageProcess) -> Iterator[Askers]:
    askers = Askers(page)
    try:
        yield askers
    finally:
        askers.stop()


@contextmanager
def publishing(broker: Mosquitto) -> Iterator[tuple[Nodes, WarmSide]]:
    nodes, warm = Nodes(broker.port), WarmSide(broker.port)
    try:
        yield nodes, warm
    finally:
        warm.stop()
        nodes.stop()


def test_a_killed_page_costs_nothing(
    broker: Mosquitto, tmp_path: Path, times: Callable[[int, int], int]
) -> None:
    kills = times(1, 100)
    with Endpoint() as endpoint, ExitStack() as ended:
        home = furnished(tmp_path / "home", broker, endpoint)
        subscribe_once(home)
        collector = connected(home)
        ended.callback(collector.kill)
        page = PageProcess(home)
        ended.callback(lambda: page.kill())  # noqa: PLW0108  # the last of them
        with WatchProcess(home) as watch, asked(page) as askers:
            with publishing(broker) as (nodes, warm):
                for kill in range(kills):
                    so_far = askers.statuses[200]
                    assert eventually(lambda n=so_far: askers.statuses[200] > n + 5, 60)  # type: ignore[misc]
                    if kill == 0:
                        warm.celsius = COLD_C
                    page.kill()
                    page = askers.page = PageProcess(home)
                endpoint.wait_for(1, 60)
            assert eventually(lambda: numbers(home).keys() >= nodes.taken, 30)
            time.sleep(1.0)  # for what might come twice
            assert collector.alive()
            assert watch.alive()
            assert page.status() == 200
            watch.end()
        assert collector.stop()[0] == 0
    assert len(nodes.taken) > 25
    assert [n for n, times in numbers(home).items() if times > 1] == []
    assert set(askers.statuses) == {200}
    assert [one.title.partition(":")[0] for one in endpoint.arrivals] == ["Warm side low in Larch"]
    assert endpoint.requests == 1
    with AlarmStore(home.alarms) as store:
        causes = [one.cause for one in store.transitions() if one.key.kind is Kind.WARM_SIDE_LOW]
    assert causes == [Cause.RAISED]
    settings = load_settings(home)
    assert check_home(home, settings).faults == []
    of = f"readings of {len(nodes.taken):,}"
    told(Promise.KEPT, "SIGKILL of the page", tried=kills, of=of)
    told(Promise.ALARMS, "SIGKILL of the page", tried=kills, of="alarms of 1")


def furnished(folder: Path, broker: Mosquitto, endpoint: Endpoint) -> Home:
    """A home with an animal that digests, alarms in seconds, and all three processes' settings."""
    with Stage(folder, wall_ms() - 48 * HOUR_MS) as stage:
        stage.enter(Meal(0, "Tove", taken_at_ms=wall_ms() - 31 * HOUR_MS, prey="rat"))
    write_care(stage.home, on_delay=0.03, on_delay_digesting=0.015, off_delay=0.02, no_readings=5)
    stage.home.settings.write_text(
        f"""\
time_zone = "Europe/Lisbon"
[collect]
commit_seconds = 0.5
seal_minutes = 0.01
[watch]
every_seconds = 0.2
notify = ["{endpoint.url}"]
[mqtt]
host = "{HOST}"
port = {broker.port}
""",
        "utf-8",
    )
    return stage.home


def numbers(home: Home) -> Counter[int]:
    """How often each numbered reading of the nodes is kept."""
    return Counter(int(one.raw) for one in stored(home) if one.probe in (TIMED, UNTIMED))
