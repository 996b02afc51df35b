"""SIGTERM ends each process cleanly within 5 s, whatever it waits for just then."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from http.client import HTTPConnection
from pathlib import Path

import pytest

from tests.analysis.page.homes import NOW
from tests.analysis.page.homes import make_home as page_home
from tests.analysis.watch.endpoint import Endpoint
from tests.analysis.watch.stage import HOUR_MS, Feed, Stage, WatchProcess, wall_ms, write_care
from tests.broker import HOST, Mosquitto, broker, free_port
from tests.collector_process import CollectorProcess, make_home
from tests.faults.between import Between
from tests.faults.feeders import LineNode
from tests.faults.record import Promise, told
from tests.page_process import PageProcess
from tests.plug import Socket, eventually

__all__ = ["broker"]
pytestmark = [pytest.mark.broker, pytest.mark.timeout(600)]

WARMCOIL = (sys.executable, "-c", "import sys; from analysis.cli import main; sys.exit(main())")
MOST_S = 5.0
"""The units' TimeoutStopSec: after it systemd kills."""
FULL_ONLY = pytest.mark.campaign

Ended = tuple[int, float]
"""Exit code, seconds."""


def say(what: str, ended: list[Ended]) -> None:
    worst_s = max(seconds for _, seconds in ended)
    bad = sum(code != 0 or seconds >= MOST_S for code, seconds in ended)
    told(
        Promise.ENDS, f"SIGTERM {what}", tried=len(ended), lost=bad, of="ends",
        note=f"{worst_s:.1f} s at the most",
    )  # fmt: skip
    assert bad == 0, ended


def wait_to_say(log: Path, words: str, times: int = 1) -> None:
    assert eventually(lambda: log.read_text("utf-8").count(words) >= times, 120), log.read_text()


@pytest.fixture
def silent() -> Iterator[Between]:
    """A server that takes what it is asked and says nothing."""
    made = Between(9)
    made.become("silent")
    yield made
    made.close()


def influxdb(silent: Between) -> str:
    return f'[archive]\nkind = "influxdb"\nurl = "{silent.url}"\nbucket = "b"\n'


# ---- the collector -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "what",
    [
        "while the broker is frozen and a line says nothing",
        pytest.param("while the broker is away", marks=FULL_ONLY),
        pytest.param("while a line is full of noise", marks=FULL_ONLY),
        pytest.param("while InfluxDB is silent", marks=FULL_ONLY),
    ],
)
def test_collect(
    broker: Mosquitto, silent: Between, tmp_path: Path, times: Callable[[int, int], int], what: str
) -> None:
    ended, lost, said = [], 0, 0
    for turn in range(times(1, 5)):
        with ExitStack() as stack:
            node = stack.enter_context(LineNode(tmp_path / f"node{turn}"))
            deaf = Socket(tmp_path / f"deaf{turn}")
            deaf.plug_in()
            stack.callback(deaf.unplug)
            port = 9 if "away" in what else broker.port
            home = make_home(
                tmp_path / f"home{turn}",
                f"""
                {influxdb(silent) if "InfluxDB" in what else ""}
                [collect]
                seal_minutes = 0.01
                [[serial]]
                port = "{node.socket.link}"
                [[serial]]
                port = "{deaf.link}"
                [mqtt]
                host = "{HOST}"
                port = {port}
                """,
            )
            collector = CollectorProcess(home)
            wait_to_say(collector.log, ": open", 2)
            node.begin()
            if "frozen" in what:
                wait_to_say(collector.log, ": connected to ")
                broker.freeze()
                stack.callback(broker.thaw)
            if "noise" in what:
                deaf.say(os.urandom(200_000))
            time.sleep(1.0 + turn)
            said += node.stop()
            time.sleep(0.3)
            ended.append(collector.stop())
            kept = collector.state()["sources"][f"serial {node.socket.link}"]["readings"]
            assert collector.state()["uncommitted"] == 0
            lost += node.said - kept
    assert lost == 0
    say(f"to collect {what}", ended)


# ---- the watch -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "what",
    [
        "while a delivery hangs and the broker is frozen",
        pytest.param("while InfluxDB is silent", marks=FULL_ONLY),
    ],
)
def test_watch(
    broker: Mosquitto, silent: Between, tmp_path: Path, times: Callable[[int, int], int], what: str
) -> None:
    ended = []
    for turn in range(times(1, 5)):
        folder = tmp_path / f"home{turn}"
        with Endpoint() as endpoint, Stage(folder, wall_ms() - 24 * HOUR_MS) as stage:
            write_care(stage.home, on_delay=0.01, on_delay_digesting=0.01, no_readings=5)
            stage.home.settings.write_text(
                f"""
                [watch]
                every_seconds = 0.2
                notify = ["{endpoint.url}"]
                [mqtt]
                host = "{HOST}"
                port = {broker.port}
                {influxdb(silent) if "InfluxDB" in what else ""}
                """,
                "utf-8",
            )
            endpoint.hold_s = 7.0
            with Feed(stage, warm_1=26.0), WatchProcess(stage.home) as watch:
                endpoint.wait_for_requests(1, 150)  # with the journal alone, where InfluxDB is away
                if "frozen" in what:
                    broker.freeze()
                time.sleep(1.0 + turn)
                ended.append(watch.end())
                broker.thaw()
    say(f"to watch {what}", ended)


# ---- the page ------------------------------------------------------------------------------------


def half_asked(page: PageProcess, path: str) -> socket.socket:
    """A request whose answer is begun and not read on."""
    line = socket.create_connection((HOST, page.port), timeout=20)
    line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    line.sendall(f"GET {path} HTTP/1.1\r\nHost: {HOST}\r\n\r\n".encode())
    assert line.recv(20).startswith(b"HTTP/1.1 200")
    return line


def largest_file(page: PageProcess) -> str:
    """The path of the script that draws plots: some MB."""
    connection = HTTPConnection(HOST, page.port, timeout=60)
    connection.request("GET", "/meal/2")
    text = connection.getresponse().read().decode()
    connection.close()
    found = re.search(r"/static/[^\"' ]*plotly[^\"' ]*\.js", text)
    assert found is not None
    return found[0]


@pytest.mark.parametrize(
    "what",
    ["while an answer is streaming", pytest.param("while InfluxDB is silent", marks=FULL_ONLY)],
)
def test_page(silent: Between, tmp_path: Path, times: Callable[[int, int], int], what: str) -> None:
    ended = []
    for turn in range(times(1, 5)):
        home = page_home(tmp_path / f"home{turn}", later_ms=wall_ms() - NOW)
        if "InfluxDB" in what:
            text = home.settings.read_text("utf-8")
            home.settings.write_text(f"{text}\n{influxdb(silent)}", "utf-8")
        with PageProcess(home) as page, ExitStack() as stack:
            if "streaming" in what:
                path = largest_file(page)
                for _ in range(3):
                    stack.enter_context(half_asked(page, path))
            else:
                line = stack.enter_context(socket.create_connection((HOST, page.port)))
                line.sendall(f"GET /meal/2 HTTP/1.1\r\nHost: {HOST}\r\n\r\n".encode())
            time.sleep(0.2 + turn / 5)
            began_s = time.monotonic()
            page.process.send_signal(signal.SIGTERM)
            code = page.process.wait(20)
            ended.append((code, time.monotonic() - began_s))
    say(f"to page {what}", ended)


# ---- all of them ---------------------------------------------------------------------------------


@FULL_ONLY
@pytest.mark.parametrize("what", ["while the broker is frozen", "while InfluxDB is silent"])
def test_run(
    broker: Mosquitto, silent: Between, tmp_path: Path, times: Callable[[int, int], int], what: str
) -> None:
    ended = []
    for turn in range(times(1, 5)):
        home = page_home(tmp_path / f"home{turn}", later_ms=wall_ms() - NOW)
        more = influxdb(silent) if "InfluxDB" in what else ""
        home.settings.write_text(
            f'{home.settings.read_text("utf-8")}\n{more}\n[mqtt]\nhost = "{HOST}"\n'
            f"port = {broker.port}\n[page]\nport = {free_port()}\n",
            "utf-8",
        )
        log = home.folder / "run.log"
        with log.open("ab") as file:
            process = subprocess.Popen(
                [*WARMCOIL, "run", "--home", str(home.folder)], stdout=file, stderr=file,
            )  # fmt: skip
        wait_to_say(log, "listening on")
        wait_to_say(log, ": connected to ")
        if "frozen" in what:
            broker.freeze()
        time.sleep(1.0 + turn)
        began_s = time.monotonic()
        process.send_signal(signal.SIGTERM)
        ended.append((process.wait(30), time.monotonic() - began_s))
        broker.thaw()
    say(f"to run {what}", ended)
