"""`warmcoil probes find`, over a journal that grows while it looks."""

from __future__ import annotations

import json
import math
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from collector.clock import wall_clock_ms
from collector.haste import LONGEST_MS
from collector.readings import Flag, Quantity, Reading
from collector.store.journal import Journal
from config.home import Home
from tests.analysis.cli.test_commands import run
from tests.plug import eventually

T = Quantity.TEMPERATURE
PROBES = tuple(f"p{n}" for n in range(6))


@contextmanager
def read_every_second(home: Home, held: str | None) -> Iterator[None]:
    """Readings of six probes up to now, then one of each a second; one of them gets warm."""
    stop = threading.Event()

    def said(probe: str, at_ms: int, past_s: float) -> Reading:
        warm = 10.0 * (1 - math.exp(-max(0.0, past_s) / 15)) if probe == held else 0.0
        wave = 0.05 * math.sin(at_ms / 700 + len(probe) + PROBES.index(probe))
        flags = Flag.JUMP if 2 < warm < 5 else Flag.NONE  # as the collector might say of it
        return Reading(probe, T, at_ms, round((24 + wave + warm) * 16) / 16, flags=flags)

    def go_on(journal: Journal) -> None:
        began_ms = wall_clock_ms()
        while not stop.wait(1.0):
            at_ms = wall_clock_ms()
            journal.commit([said(p, at_ms, (at_ms - began_ms) / 1000 - 2) for p in PROBES])

    home.readings.mkdir(exist_ok=True)
    with closing(Journal(home.journal)) as journal:
        now_ms = wall_clock_ms()
        times = range(now_ms - 300_000, now_ms, 5_000)
        journal.commit([said(probe, at_ms, 0.0) for at_ms in times for probe in PROBES])
        thread = threading.Thread(target=go_on, args=(journal,))
        thread.start()
        try:
            yield
        finally:
            stop.set()
            thread.join()


def test_the_probe_in_the_hand_is_named(tmp_path: Path) -> None:
    home = Home(tmp_path / "home")
    assert run("init", home=home.folder).returncode == 0
    with read_every_second(home, "p4"):
        done = run("probes", "find", "--seconds", "40", "--json", home=home.folder)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["probe"] == "p4"
    assert told["seconds"] < 30
    assert told["heard"] == len(PROBES)
    assert "closed hand" in done.stderr
    asked_ms = int(home.haste.read_text())
    assert 0 < asked_ms - (wall_clock_ms() - told["seconds"] * 1000) < LONGEST_MS


def test_probes_that_were_only_just_plugged_in_are_not_said_to_be_silent(tmp_path: Path) -> None:
    home = Home(tmp_path / "home")
    assert run("init", home=home.folder).returncode == 0
    home.readings.mkdir()

    def plug_in() -> None:
        assert eventually(home.haste.exists, 60)  # it has begun to look
        with closing(Journal(home.journal)) as journal:
            for _ in range(3):
                journal.commit([Reading("p1", T, wall_clock_ms(), 24.0)])
                time.sleep(0.2)

    thread = threading.Thread(target=plug_in)
    thread.start()
    done = run("probes", "find", home=home.folder)
    thread.join()
    assert done.returncode == 1
    assert "the probes have only just been heard" in done.stderr
    assert "Wait a minute, then begin again." in done.stderr


def test_nobody_is_named_where_nothing_is_heard(tmp_path: Path) -> None:
    home = tmp_path / "home"
    assert run("init", home=home).returncode == 0
    done = run("probes", "find", "--seconds", "5", home=home)
    assert done.returncode == 1
    assert done.stderr.endswith("warmcoil: Not sure yet: no probe has been heard since.\n")
