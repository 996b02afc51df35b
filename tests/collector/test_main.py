"""The collector process, whole: from every kind of source to what another process reads."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.publish
import pytest

from collector.measured import Measured
from collector.readings import Quantity
from collector.rfc3339 import parse
from collector.senml import pack
from collector.serial_frame import encode
from collector.sources import onewire
from tests.broker import HOST, Mosquitto, broker
from tests.collector.sources.test_onewire import scratchpad, w1_slave
from tests.collector_process import CollectorProcess, make_home, stored
from tests.plug import Socket, eventually

__all__ = ["broker"]

SIMULATED = """
[[simulated]]
probe = "sim"
every_seconds = 0.2
"""


def run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "collector", *arguments],
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
        env={**{k: v for k, v in os.environ.items() if k != "WARMCOIL_HOME"}, **environment},
    )


# ---- the whole way -------------------------------------------------------------------------------


@pytest.mark.broker
def test_every_source_reaches_the_store_and_memory_stays_small(
    broker: Mosquitto, tmp_path: Path
) -> None:
    plug = Socket(tmp_path / "node")
    plug.plug_in()
    device = tmp_path / "w1" / "28-0000071c2f2a"
    device.mkdir(parents=True)
    (device / "w1_slave").write_text(w1_slave(scratchpad(0x0191)))
    home = make_home(
        tmp_path / "home",
        f"""
        {SIMULATED}
        [collect]
        commit_seconds = 0.2
        seal_minutes = 0.05
        [[serial]]
        port = "{plug.link}"
        [onewire]
        folder = "{tmp_path / "w1"}"
        every_seconds = 1
        [mqtt]
        host = "{HOST}"
        port = {broker.port}
        [[mqtt.source]]
        topic = "shed/two"
        probe = "two-a"
        temperature = "/a/t"
        temperature_unit = "degF"
        [[mqtt.source]]
        topic = "shed/two"
        probe = "two-b"
        humidity = "/b/h"
        [[probe]]
        id = "two-a"
        temperature_offset_c = 1
        """,
    )
    collector = CollectorProcess(home)
    try:
        # Connected is not enough: what comes before the subscription is for nobody.
        assert eventually(lambda: collector.said("mqtt: subscribed"))
        assert eventually(lambda: collector.said(f"serial {plug.link}: open"))
        plug.say(encode(pack([Measured("node", Quantity.TEMPERATURE, 30.25)])) + b"rubbish\n")
        say(broker, "shed/two", b'{"a":{"t":77},"b":{"h":55}}')
        say(broker, "warmcoil/x/senml", b'[{"n":"x_humidity","u":"%RH","v":60.5}]')
        say(broker, "warmcoil/x/senml", b'[{"lock_":1}]')
        expected = {
            ("node", 30.25),
            ("two-a", 26.0),
            ("two-b", 55.0),
            ("x", 60.5),
            (onewire.probe_of(device.name), 25.0625),
        }
        began_s = time.monotonic()
        assert eventually(lambda: {(o.probe, o.value) for o in stored(home)} >= expected, 15)
        assert time.monotonic() - began_s < 15
        assert eventually(lambda: collector.said("sealed"))
        assert collector.resident_mb() < 45
    finally:
        code, seconds = collector.stop()
        plug.unplug()
    assert code == 0
    assert seconds < 5
    state = collector.state()
    assert abs(parse(state["at"]) - time.time() * 1000) < 60_000
    assert state["uncommitted"] == 0
    sources = state["sources"]
    assert set(sources) == {"simulated", "1-wire", "mqtt", f"serial {plug.link}"}
    assert sources["mqtt"]["dropped"] == {"unreadable": 1}
    assert sources["mqtt"]["readings"] == 3
    assert sources["mqtt"]["frames"] == 3
    assert sources[f"serial {plug.link}"]["dropped"] == {"no checksum": 1}
    assert sources["simulated"]["frames"] == sources["simulated"]["readings"] > 5
    assert parse(sources["mqtt"]["since"]) <= parse(state["at"])


def say(broker: Mosquitto, topic: str, payload: bytes) -> None:
    paho.mqtt.publish.single(topic, payload, qos=1, hostname=HOST, port=broker.port)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_the_last_readings_are_committed_at_the_end(tmp_path: Path, number: int) -> None:
    home = make_home(tmp_path, f"{SIMULATED}\n[collect]\ncommit_seconds = 60")
    collector = CollectorProcess(home)
    assert eventually(home.collector_state.exists)
    time.sleep(1.0)
    assert stored(home) == []
    code, seconds = collector.stop(number)
    assert code == 0
    assert seconds < 5
    assert len(stored(home)) >= 4
    assert len(stored(home)) == collector.state()["sources"]["simulated"]["readings"]


def test_a_broker_that_is_away_does_not_delay_the_end(tmp_path: Path) -> None:
    home = make_home(tmp_path, f'{SIMULATED}\n[mqtt]\nhost = "{HOST}"\nport = 9')
    collector = CollectorProcess(home)
    assert eventually(lambda: collector.said("cannot be reached"))
    code, seconds = collector.stop()
    assert code == 0
    assert seconds < 5


def test_a_restart_goes_on_where_it_was(tmp_path: Path) -> None:
    home = make_home(tmp_path, SIMULATED)
    counts = []
    for _ in range(2):
        collector = CollectorProcess(home)
        assert eventually(home.collector_state.exists)
        time.sleep(0.8)
        assert collector.stop()[0] == 0
        home.collector_state.unlink()
        counts.append(len(stored(home)))
    assert 0 < counts[0] < counts[1]
    assert all(one.usable for one in stored(home))


# ---- what a keeper can do wrong ------------------------------------------------------------------


def test_a_second_collector_on_the_same_home_is_refused(tmp_path: Path) -> None:
    home = make_home(tmp_path, SIMULATED)
    collector = CollectorProcess(home)
    assert eventually(home.collector_state.exists)
    second = run("--home", str(tmp_path))
    assert second.returncode == 1
    assert second.stderr.count("\n") == 1
    assert f"another collector (process {collector.pid}) is running" in second.stderr
    assert collector.alive()
    assert collector.stop()[0] == 0


@pytest.mark.parametrize(
    ("settings", "code", "told"),
    [
        ("[collect]\ncomit_seconds = 1", 2, "comit_seconds: no such setting"),
        ("[collect", 2, "not TOML"),
        ('[mqtt]\nhost = "h"\nusername = "u"\npassword_file = "/no/file"', 2, "/no/file"),
        (None, 1, "warmcoil init"),
    ],
)
def test_a_start_that_cannot_be_is_one_line(
    tmp_path: Path, settings: str | None, code: int, told: str
) -> None:
    if settings is not None:
        make_home(tmp_path, settings)
    ended = run("--home", str(tmp_path))
    assert ended.returncode == code
    assert told in ended.stderr
    assert ended.stderr.count("\n") == 1
    assert ended.stdout == ""


@pytest.mark.parametrize("arguments", [["--hoem", "x"], ["--home"], ["x"], ["--home", "a", "b"]])
def test_wrong_use_is_one_line(arguments: list[str]) -> None:
    ended = run(*arguments)
    assert (ended.returncode, ended.stderr) == (
        2,
        "collector: usage: python -m collector --home DIR\n",
    )


def test_the_home_may_stand_in_the_environment(tmp_path: Path) -> None:
    for ended in (run(WARMCOIL_HOME=str(tmp_path)), run(f"--home={tmp_path}")):
        assert ended.returncode == 1
        assert str(tmp_path) in ended.stderr


def test_no_home_is_one_line() -> None:
    ended = run()
    assert ended.returncode == 2
    assert ended.stderr == "collector: no home given; say --home DIR, or set WARMCOIL_HOME\n"


# ---- a service -----------------------------------------------------------------------------------


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[tuple[socket.socket, str]]:
    """A service manager's ear."""
    path = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
        ear.bind(path)
        ear.settimeout(10)
        yield ear, path


def test_the_service_manager_is_told(tmp_path: Path, manager: tuple[socket.socket, str]) -> None:
    ear, path = manager
    home = make_home(tmp_path / "home", SIMULATED)
    collector = CollectorProcess(home, NOTIFY_SOCKET=path, WATCHDOG_USEC="1000000")
    heard = [ear.recv(100) for _ in range(4)]
    assert heard == [b"READY=1", *[b"WATCHDOG=1"] * 3]
    assert collector.stop()[0] == 0
    rest = [ear.recv(100)]
    while rest[-1] == b"WATCHDOG=1":
        rest.append(ear.recv(100))
    assert rest[-1] == b"STOPPING=1"


HEAVY = ("pandas", "numpy", "scipy", "matplotlib", "typer", "rich", "apprise", "influxdb_client")
LATER = ("paho", "serial", "jsonpointer", "crccheck", "sdnotify")


def loaded_after(code: str) -> set[str]:
    done = subprocess.run(
        [sys.executable, "-c", f"{code}; import sys; print(*sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
    )
    return {name.partition(".")[0] for name in done.stdout.split()}


def test_import_budget() -> None:
    loaded = loaded_after("import collector.__main__")
    assert loaded & set(HEAVY) == set()
    # What is not configured is not loaded.
    assert loaded & set(LATER) == set()


def test_import_budget_with_every_source() -> None:
    names = ("mqtt", "onewire", "serial_line", "simulated")
    loaded = loaded_after(
        "import collector.__main__, collector.payload; "
        + "; ".join(f"import collector.sources.{name}" for name in names)
    )
    assert loaded & set(HEAVY) == set()
    assert loaded >= {"paho", "serial", "jsonpointer", "crccheck"}
