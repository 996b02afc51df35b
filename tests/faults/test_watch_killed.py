"""SIGKILL of the watch and of its delivery while a warm side falls and recovers, again and again.

A second watch looks at the same readings and is left alone: both must come to the same alarms at
the same times. Every message goes into a real HTTP endpoint, once.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import time
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from analysis.watch.alarm_check import check_alarms
from analysis.watch.alarm_file import open_alarms
from analysis.watch.alarm_store import AlarmStore
from analysis.watch.states import Cause, Kind
from config.home import Home
from tests.analysis.watch.endpoint import Endpoint
from tests.analysis.watch.stage import (
    HOUR_MS,
    Feed,
    Stage,
    WatchProcess,
    wall_ms,
    write_care,
    write_settings,
)
from tests.faults.record import Promise, told
from tests.plug import eventually

pytestmark = pytest.mark.timeout(3600)

WARM_C, COLD_C = 31.0, 24.0
DELIVERY = "analysis.watch.deliver"


def transitions(home: Home) -> list[tuple[Cause, int]]:
    with AlarmStore(home.alarms) as store:
        return [
            (one.cause, one.at_ms)
            for one in store.transitions()
            if one.key.kind is Kind.WARM_SIDE_LOW
        ]


def waiting(home: Home) -> int:
    with closing(open_alarms(home.alarms)) as file:
        query = "SELECT count(*) FROM delivery WHERE state = 'waiting'"
        return int(file.execute(query).fetchone()[0])


def references(home: Home) -> list[str]:
    with closing(open_alarms(home.alarms)) as file:
        return [row[0] for row in file.execute("SELECT reference FROM outbox")]


def delivery_of(home: Home) -> int | None:
    """The process that delivers for this home just now."""
    for entry in Path("/proc").iterdir():
        try:
            words = (entry / "cmdline").read_bytes().split(b"\0") if entry.name.isdigit() else []
        except OSError:
            continue  # it has ended meanwhile
        if DELIVERY.encode() in words and os.fsencode(home.folder) in words:
            return int(entry.name)
    return None


def twin_of(home: Home, folder: Path, endpoint: Endpoint) -> Home:
    """Another home over the same readings, with alarms of its own."""
    folder.mkdir()
    twin = Home(folder)
    shutil.copy(home.book, twin.book)
    shutil.copytree(home.folder / "care", folder / "care")
    twin.readings.symlink_to(home.readings)
    write_settings(twin, [endpoint.url])
    return twin


@pytest.mark.parametrize("victim", ["watch", pytest.param("delivery", marks=pytest.mark.campaign)])
def test_alarms_are_neither_lost_nor_repeated(
    victim: str, tmp_path: Path, times: Callable[[int, int], int]
) -> None:
    kills = times(2, 100 if victim == "watch" else 20)  # a delivery lives for moments
    chance = random.Random(3)
    killed = 0
    with Endpoint() as endpoint, Endpoint() as beside:
        with Stage(tmp_path / "home", wall_ms() - 48 * HOUR_MS) as stage:
            home = stage.home
            write_settings(home, [endpoint.url])
            write_care(home, on_delay=0.015, off_delay=0.015, no_readings=30)
            twin = twin_of(home, tmp_path / "twin", beside)
            stage.commit(*((wall_ms() - back, WARM_C) for back in (120_000, 60_000, 1_000)))
            with Feed(stage, warm_1=WARM_C) as feed, WatchProcess(twin) as left_alone:
                watch = WatchProcess(home)
                assert eventually(lambda: bool(twin.alarms.exists()), 60)
                while killed < kills:
                    feed.values["warm-1"] = chance.choice((WARM_C, COLD_C))
                    time.sleep(chance.uniform(0.0, 3.0))
                    if victim == "watch":
                        watch.kill()
                        killed += 1
                        watch = WatchProcess(home)
                    elif (process := delivery_of(home)) is not None:
                        os.kill(process, signal.SIGKILL)
                        killed += 1
                    else:
                        other = COLD_C if feed.values["warm-1"] == WARM_C else WARM_C
                        feed.values["warm-1"] = other
                for value in (WARM_C, COLD_C, WARM_C):  # at least one alarm, whatever the chance
                    feed.values["warm-1"] = value
                    time.sleep(2.5)
                same = lambda: transitions(home) == transitions(twin)  # noqa: E731
                assert eventually(same, 90), (transitions(home), transitions(twin))
                assert eventually(lambda: waiting(home) == 0, 60)
                assert left_alone.alive()
                watch.end()
                left_alone.end()
        assert transitions(home) == transitions(twin)
        assert Cause.RAISED in {cause for cause, _ in transitions(home)}
        arrived = Counter(one.repeat_key for one in endpoint.arrivals)
    sent = references(home)
    assert set(arrived) == set(sent)
    again = sum(arrived.values()) - len(arrived)
    if victim == "watch":
        assert again == 0
    else:  # killed between the sending and the noting, it sends again, with the same reference
        assert again <= killed
    assert check_alarms(home.alarms) == []
    told(
        Promise.ALARMS, f"SIGKILL of the {victim}", tried=killed,
        of=f"messages of {len(sent)}",
        note="the same alarms at the same times as of a watch left alone"
        + (f"; {again} sent again with the same reference" if again else ""),
    )  # fmt: skip
    told(Promise.DELIVERED, f"SIGKILL of the {victim}", tried=killed, lost=again, of="repeated")
