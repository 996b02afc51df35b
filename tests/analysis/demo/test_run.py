"""The demo from its command to its end: everything comes up, is live, and goes away again."""

from __future__ import annotations

import os
import shlex
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from analysis.demo.build import build_home
from analysis.demo.places import DemoPlaces
from analysis.demo.run import live_series
from collector.store.reader import Reader
from config.home import Home
from config.settings import load_settings

PROGRAM = """
import sys
from pathlib import Path
from analysis.demo.run import run_demo
from config.errors import WarmcoilError
from config.home import Home
try:
    code = run_demo(
        Home(Path(sys.argv[1])), days=20, stay_seconds=float(sys.argv[2]), every_seconds=1.0,
        broker_search=sys.argv[3] if len(sys.argv) > 3 else None,
    )
except WarmcoilError as fault:
    sys.exit(f"said: {fault}")
sys.exit(code)
"""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Home:
    """A short demo home, shared: each test goes on with it."""
    place = Home(tmp_path_factory.mktemp("run") / "home")
    build_home(place, days=20)
    return place


@contextmanager
def demo(home: Home, stay: float, *more: str) -> Iterator[subprocess.Popen[str]]:
    command = [sys.executable, "-c", PROGRAM, str(home.folder), str(stay), *more]
    running = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        env={**os.environ, "COLUMNS": "200"},
    )  # fmt: skip
    try:
        yield running
    finally:
        if running.poll() is None:
            running.kill()
        running.communicate()


def said_until(running: subprocess.Popen[str], word: str) -> str:
    assert running.stdout is not None
    said = ""
    for line in running.stdout:
        said += line
        if word in line:
            return said
    raise AssertionError(f"{word!r} was never said: {said}")


def family(home: Home) -> list[int]:
    """Processes that have this home on their command line or are on its leash."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit() and int(entry.name) != os.getpid():
            try:
                command = (entry / "cmdline").read_bytes().decode("utf-8", "replace")
                status = (entry / "status").read_text(encoding="utf-8")
            except (FileNotFoundError, ProcessLookupError):
                continue
            if str(home.folder) in command and "State:\tZ" not in status:
                found.append(int(entry.name))
    return found


def all_gone(home: Home, seconds: float = 15.0) -> bool:
    until = time.monotonic() + seconds
    while family(home) and time.monotonic() < until:
        time.sleep(0.1)
    return not family(home)


def newest_ms(home: Home) -> dict[str, int]:
    with Reader(home.journal, home.archive) as reader:
        return {f"{k.probe} {k.quantity}": r.at_ms for k, r in reader.latest().items()}


def test_it_builds_comes_up_tells_and_ends(tmp_path: Path) -> None:
    place = Home(tmp_path / "some one's new home")
    began_ms = time.time_ns() // 1_000_000
    with demo(place, 2) as running:
        said, _ = running.communicate(timeout=110)
        assert running.returncode == 0, said
    assert "Meals worth a look" in said
    assert "the heater failed the night after" in said
    assert f"review --home {shlex.quote(str(place.folder))}" in said
    assert "plot " in said
    fresh = [at_ms for at_ms in newest_ms(place).values() if at_ms >= began_ms]
    assert len(fresh) == len(live_series(DemoPlaces(place))) == 13
    assert all_gone(place)
    assert not DemoPlaces(place).serial.is_symlink()


def test_it_goes_on_where_it_was_and_ends_on_ctrl_c(home: Home) -> None:
    before = newest_ms(home)
    with demo(home, 60) as running:
        said = said_until(running, "Ctrl-C")
        assert "Building" not in said
        assert len(family(home)) >= 5  # the demo, broker, rack, collector, watch
        running.send_signal(signal.SIGINT)
        assert running.wait(30) == 0
    after = newest_ms(home)
    live = [k for k in after if after[k] > before[k]]
    assert len(live) == 13
    assert all_gone(home)


def test_killed_it_leaves_no_orphans(home: Home) -> None:
    with demo(home, 60) as running:
        said_until(running, "Ctrl-C")
        running.send_signal(signal.SIGKILL)
        running.wait()
    assert all_gone(home)


def test_another_on_the_same_home_is_refused_and_a_dead_part_ends_it(home: Home) -> None:
    with demo(home, 60) as running:
        said_until(running, "Ctrl-C")
        with demo(home, 1) as second:
            said, _ = second.communicate(timeout=30)
            assert second.returncode == 1
            assert "another demo" in said
        (collector,) = [
            pid for pid in family(home)
            if b"\0collector\0" in Path(f"/proc/{pid}/cmdline").read_bytes()
        ]  # fmt: skip
        os.kill(collector, signal.SIGKILL)
        said, _ = running.communicate(timeout=30)
        assert running.returncode == 1
        assert "collector ended by itself (code -9)" in said
    assert all_gone(home)


def test_two_homes_at_once_and_a_taken_port(home: Home, tmp_path: Path) -> None:
    other = Home(tmp_path / "other")
    build_home(other, days=20)
    old = load_settings(home).mqtt.port
    with socket.socket() as blocker:
        blocker.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        blocker.bind(("127.0.0.1", old))
        blocker.listen()
        with demo(home, 60) as one, demo(other, 60) as two:
            said_until(one, "Ctrl-C")
            said_until(two, "Ctrl-C")
            ports = {load_settings(h).mqtt.port for h in (home, other)}
            assert len(ports) == 2
            assert old not in ports
            for running in (one, two):
                running.send_signal(signal.SIGTERM)
                assert running.wait(30) == 0
    assert all_gone(home)
    assert all_gone(other)


def test_without_mosquitto_it_takes_amqtt(home: Home, tmp_path: Path) -> None:
    assert load_settings(home).mqtt.protocol == "5"
    with demo(home, 1, str(tmp_path / "nothing")) as running:
        said, _ = running.communicate(timeout=60)
        assert running.returncode == 0, said
    assert load_settings(home).mqtt.protocol == "3.1.1"
    assert all_gone(home)
