"""Two collectors that take turns on one broker, with one InfluxDB behind: each reading once."""

from __future__ import annotations

import time
from contextlib import ExitStack, closing
from pathlib import Path

import pytest

from collector.readings import Quantity, Reading, SeriesKey
from collector.store.influx_archive import InfluxArchive
from collector.store.opening import open_reader
from config.home import Home
from config.settings import Archive, load_settings
from tests.broker import HOST, Mosquitto, broker
from tests.collector_process import FOR_EVER_MS, CollectorProcess, make_home
from tests.faults.record import Promise, told
from tests.faults.test_kill import TIMED, UNTIMED, Nodes
from tests.influx import database, the_server
from tests.plug import eventually

__all__ = ["broker"]
pytestmark = pytest.mark.broker

KEYS = [SeriesKey(name, Quantity.VOLTAGE) for name in (TIMED, UNTIMED)]


def home_of(folder: Path, name: str, broker: Mosquitto, archive: Archive) -> Home:
    return make_home(
        folder / name,
        f"""
        [collect]
        commit_seconds = 0.2
        seal_minutes = 0.005
        [archive]
        kind = "influxdb"
        url = "{archive.url}"
        bucket = "{archive.bucket}"
        [mqtt]
        host = "{HOST}"
        port = {broker.port}
        client_id = "{name}"
        share = "boas"
        """,
    )


def seen(home: Home) -> list[Reading]:
    with open_reader(home, load_settings(home)) as reader:
        return [one for key in KEYS for one in reader.columns(key, 0, FOR_EVER_MS).readings(key)]


def numbers(homes: list[Home]) -> set[int]:
    return {int(one.raw) for home in homes for one in seen(home)}


def test_each_reading_is_kept_once(broker: Mosquitto, tmp_path: Path) -> None:
    with database(the_server()) as archive, ExitStack() as stack:
        homes = [home_of(tmp_path, name, broker, archive) for name in ("one", "two")]
        first, second = map(CollectorProcess, homes)
        stack.callback(first.kill)
        stack.callback(second.kill)
        assert eventually(
            lambda: first.said("mqtt: subscribed") and second.said("mqtt: subscribed"), 60
        )
        nodes = Nodes(broker.port)
        time.sleep(3)
        second.kill()  # what it had not acknowledged waits for it
        second.log.unlink()
        time.sleep(1)
        second = CollectorProcess(homes[1])
        stack.callback(second.kill)
        assert eventually(lambda: second.said("mqtt: subscribed"), 60)
        time.sleep(3)
        nodes.stop()
        assert eventually(lambda: numbers(homes) >= nodes.taken, 40)
        assert first.stop()[0] == second.stop()[0] == 0
        taken = [one.state()["sources"]["mqtt"]["readings"] for one in (first, second)]
        assert min(taken) > 20  # they did take turns
        with closing(InfluxArchive(archive)) as server:
            kept = [
                one for key in KEYS for one in server.columns(key, 0, FOR_EVER_MS).readings(key)
            ]
        assert len(kept) > len(nodes.taken) / 5  # the newest commits stay in the journals
        assert sorted(int(one.raw) for one in kept) == sorted({int(one.raw) for one in kept})
        # No time twice in one, no message in both.
        everything = {(one.key, one.at_ms, one.raw) for home in homes for one in seen(home)}
        assert sorted(int(raw) for _, _, raw in everything) == sorted(nodes.taken)
    told(
        Promise.KEPT, "two collectors share a topic and an InfluxDB, one of them is killed",
        tried=1, of=f"readings of {len(nodes.taken):,}",
    )  # fmt: skip
