"""A card that is full, slow or can only be read, under a real collector, watch, broker and ext4."""

from __future__ import annotations

import os
import random
import signal
import time
from collections import Counter
from collections.abc import Callable, Iterator, Set
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from analysis.checking import check_home
from collector.book.book import Book
from collector.book.records import Enclosure, Placement, Zone
from config.home import Home
from config.settings import load_settings
from tests.analysis.watch.endpoint import Endpoint
from tests.analysis.watch.stage import WatchProcess, write_care
from tests.broker import HOST, Mosquitto, mosquitto_path
from tests.collector_process import CollectorProcess, make_home, stored
from tests.faults.card import Card, card
from tests.faults.record import Promise, told
from tests.faults.test_kill import A_SECOND, TIMED, UNTIMED, Nodes, subscribe_once
from tests.faults.test_page_killed import WarmSide
from tests.plug import eventually

__all__ = ["card"]
pytestmark = [pytest.mark.broker, pytest.mark.timeout(600)]

QUEUE = 500
Begin = Callable[[Home], CollectorProcess]


def home_on(card: Card, broker: Mosquitto, endpoint: Endpoint | None = None) -> Home:
    notify = f'notify = ["{endpoint.url}"]' if endpoint else ""
    home = make_home(
        card.folder / "home",
        f"""
        [collect]
        commit_seconds = 0.5
        sync_seconds = 1.0
        seal_minutes = 0.02
        queue_frames = {QUEUE}
        [watch]
        every_seconds = 0.2
        {notify}
        [mqtt]
        host = "{HOST}"
        port = {broker.port}
        """,
    )
    write_care(home, no_readings=0.1)
    with Book(home.book) as book:
        book.put(Enclosure("Larch"))
        book.put(Placement("warm-1", "Larch", Zone.WARM_SIDE, 0))
    return home


def numbers(home: Home) -> list[int]:
    """The numbers of the readings that were published by `Nodes`."""
    return [int(one.raw) for one in stored(home) if one.probe in (TIMED, UNTIMED)]


@contextmanager
def publishing(broker: Mosquitto) -> Iterator[Nodes]:
    nodes = Nodes(broker.port)
    try:
        yield nodes
    finally:
        nodes.stop()


def all_there(home: Home, nodes: Nodes, perhaps_not: Set[int] = frozenset()) -> tuple[int, int]:
    """Every reading that the broker took is stored, once; how many it took, and how many of those
    that may be missing are."""
    wanted = nodes.taken - perhaps_not
    assert eventually(lambda: set(numbers(home)) >= wanted, 60)
    counts = Counter(numbers(home))
    assert counts.keys() <= nodes.taken
    assert max(counts.values()) == 1
    assert check_home(home, load_settings(home)).faults == []
    return len(nodes.taken), len(nodes.taken - counts.keys())


@pytest.fixture
def patient(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker that keeps more than a thousand messages, its default, for who does not answer."""
    if mosquitto_path() is None:
        pytest.skip("mosquitto is not installed (Debian package mosquitto)")
    folder = tmp_path / "broker"
    folder.mkdir()
    made = Mosquitto(folder, "allow_anonymous true", "max_queued_messages 100000")
    made.start()
    yield made
    made.stop()


@pytest.fixture
def begin(card: Card, tmp_path: Path) -> Iterator[Begin]:
    """Starts a collector whose log is not on the card; none is left at the end."""
    started: list[CollectorProcess] = []

    def start(home: Home) -> CollectorProcess:
        log = home.folder / "collector.log"
        if not log.is_symlink():
            log.symlink_to(tmp_path / "collector.log")
            (home.folder / "watch.log").symlink_to(tmp_path / "watch.log")
        (tmp_path / "collector.log").write_text("")
        started.append(CollectorProcess(home))
        return started[-1]

    yield start
    for one in started:
        one.kill()


def connected(collector: CollectorProcess) -> CollectorProcess:
    assert eventually(lambda: collector.said("mqtt: subscribed"), 30)
    return collector


def test_full(
    patient: Mosquitto, card: Card, begin: Begin, times: Callable[[int, int], int]
) -> None:
    seconds = times(3, 25)  # longer than the broker's own bound of messages would be our loss
    with Endpoint() as endpoint:
        home = home_on(card, patient, endpoint)
        collector = connected(begin(home))
        with WatchProcess(home) as watch, publishing(patient) as nodes:
            assert "card is filling" in endpoint.wait_for(1, 60)[0].title  # long before it is full
            assert eventually(lambda: len(stored(home)) > A_SECOND, 30)
            before_mb = collector.resident_mb()
            card.fill()
            assert eventually(lambda: collector.said("readings cannot be written"), 30)
            card.fill()
            for _ in range(seconds):
                time.sleep(1.0)
                assert collector.alive()
                assert watch.alive()
            more_mb = collector.resident_mb() - before_mb
            card.make_room()
            assert eventually(lambda: collector.said("the readings are written again"), 60)
        readings, _ = all_there(home, nodes)
        assert collector.stop()[0] == 0
    assert more_mb < 10
    told(
        Promise.CARD, f"a card full for {seconds} s at {A_SECOND} readings a second", tried=1,
        of=f"readings of {readings:,}", note=f"{more_mb:.1f} MB more memory",
    )  # fmt: skip


def test_slow(
    patient: Mosquitto, card: Card, begin: Begin, times: Callable[[int, int], int]
) -> None:
    """Writes and syncs that take seconds; and a kill that finds the collector in one."""
    freezes, chance = times(2, 20), random.Random(4)
    home = home_on(card, patient)
    collector = connected(begin(home))
    with publishing(patient) as nodes:
        for freeze in range(freezes):
            time.sleep(chance.uniform(0.5, 1.5))
            card.freeze()
            time.sleep(chance.uniform(0.5, 4.0))
            if freeze % 4 == 1:
                os.kill(collector.pid, signal.SIGKILL)  # it dies when the card lets it
            card.thaw()
            if freeze % 4 == 1:
                collector.kill()
                collector = connected(begin(home))
    readings, _ = all_there(home, nodes)
    assert collector.stop()[0] == 0
    told(
        Promise.KEPT, "a card that takes up to 4 s to write, a kill in every fourth",
        tried=freezes, of=f"readings of {readings:,}",
    )  # fmt: skip


@pytest.mark.campaign  # half a minute; make promises tries it
def test_read_only(patient: Mosquitto, card: Card, begin: Begin, tmp_path: Path) -> None:
    """Only a reboot mends it; until then the collector holds what it has. The keeper is told once,
    though no alarm can be kept; a new start is one line."""
    noted = {"RUNTIME_DIRECTORY": str(tmp_path)}
    with ExitStack() as stack:
        endpoint = stack.enter_context(Endpoint())
        home = home_on(card, patient, endpoint)
        subscribe_once(home)
        collector = connected(begin(home))
        watch = stack.enter_context(WatchProcess(home, noted))
        nodes = stack.enter_context(publishing(patient))
        stack.callback(WarmSide(patient.port).stop)
        endpoint.wait_for(1, 60)  # that the card, of 16 MB, is filling
        assert eventually(lambda: len(stored(home)) > A_SECOND, 30)
        before_mb = collector.resident_mb()
        card.sync()
        time.sleep(1.5)
        newest = max(numbers(home))
        card.fail()
        assert eventually(lambda: collector.said("readings cannot be written"), 30)
        assert endpoint.wait_for(2, 90)[1].title == "Warmcoil's watch cannot work"
        assert "journal.db" in endpoint.arrivals[1].body or "alarms.db" in endpoint.arrivals[1].body
        assert collector.alive()
        assert watch.alive()
        more_mb = collector.resident_mb() - before_mb
        assert collector.stop()[0] == 3
        watch.kill()
        (tmp_path / "watch.log").write_text("")
        assert WatchProcess(home, noted).wait(60) == 3
        assert begin(home).wait(60) == 3
        for name in ("watch.log", "collector.log"):
            assert (tmp_path / name).read_text().count("\n") == 1, (tmp_path / name).read_text()
        assert endpoint.requests == 2  # nor again by a new start
        card.mend()
        collector = connected(begin(home))
    unsynced = set(range(newest - 3 * A_SECOND, newest + 3 * A_SECOND))
    readings, lost = all_there(home, nodes, perhaps_not=unsynced)
    assert collector.stop()[0] == 0
    assert more_mb < 10
    told(
        Promise.CARD, "a card that can only be read any more, until a reboot", tried=1, lost=lost,
        of=f"readings of {readings:,}",
        note=f"not synced (here every second) when it failed; {more_mb:.1f} MB more memory",
    )  # fmt: skip
