"""What goes out beside the messages: states on a real broker, heartbeats to a real endpoint."""

from __future__ import annotations

import contextlib
import json
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from analysis.watch.enclosure_state import AGAIN_MS, EnclosureStates, topic_level
from analysis.watch.heartbeat import Heartbeat, address_of, beat, blind
from analysis.watch.herald import Herald
from analysis.watch.rules_snapshot import PlacedProbe, Series, Snapshot
from analysis.watch.states import Alarm, AlarmKey, Digesting, Kind, Priority, State
from collector.book.records import Zone
from config.errors import BadSettings
from config.home import Home
from tests.analysis.watch.stage import HOUR_MS, Feed, Stage, WatchProcess, wall_ms, write_care
from tests.broker import HOST, Mosquitto, broker

__all__ = ["broker"]

LOW = AlarmKey(Kind.WARM_SIDE_LOW, "Larch")
NOW = 1_900_000_000_000


def snapshot(*points: tuple[int, float], digesting: tuple[Digesting, ...] = ()) -> Snapshot:
    return Snapshot(
        [Series(LOW, points)],
        [PlacedProbe("warm-1", "Larch", Zone.WARM_SIDE, 0)],
        digesting={"Larch": digesting},
    )


def standing(state: State = State.UNACKNOWLEDGED) -> dict[AlarmKey, Alarm]:
    return {LOW: Alarm(LOW, state, Priority.HIGH, since_ms=NOW - 60_000)}


def test_a_state_says_warmth_alarms_and_who_digests() -> None:
    meal = Digesting("Tove", "1 rat", NOW - HOUR_MS, NOW - HOUR_MS, NOW + HOUR_MS)
    ((topic, state),) = EnclosureStates().due(
        snapshot((NOW - 5_000, 26.437), digesting=(meal,)), standing(), NOW
    )
    assert topic == "warmcoil/state/Larch"
    assert state == {
        "enclosure": "Larch",
        "at": "2030-03-17T17:46:40Z",
        "warm_side": {"c": 26.44, "at": "2030-03-17T17:46:35Z"},
        "alarms": [
            {
                "alarm": "warm side low",
                "probe": None,
                "state": "unacknowledged",
                "priority": "high",
                "since": "2030-03-17T17:45:40Z",
            }
        ],
        "digesting": [{"animal": "Tove", "prey": "1 rat", "taken_at": "2030-03-17T16:46:40Z"}],
    }


def test_said_when_it_changes_and_again_after_a_while() -> None:
    states = EnclosureStates()
    assert states.due(snapshot((NOW, 30.0)), {}, NOW)
    assert not states.due(snapshot((NOW + 9_000, 30.3)), {}, NOW + 10_000)  # too soon
    assert states.due(snapshot(), {}, NOW + 60_000)  # 30.3 by now
    assert not states.due(snapshot((NOW + 130_000, 30.32)), {}, NOW + 130_000)
    assert states.due(snapshot(), standing(), NOW + 131_000)
    assert not states.due(snapshot(), standing(), NOW + 132_000)
    assert states.due(snapshot(), standing(State.ACKNOWLEDGED), NOW + 133_000)
    assert states.due(snapshot(), standing(State.ACKNOWLEDGED), NOW + 133_000 + AGAIN_MS)
    states.forget()
    assert states.due(snapshot(), standing(State.ACKNOWLEDGED), NOW + 134_000 + AGAIN_MS)


def test_an_enclosure_without_a_warm_side_any_more_says_so() -> None:
    states = EnclosureStates()
    states.due(snapshot((NOW, 30.0)), {}, NOW)
    ((_, state),) = states.due(Snapshot(), {}, NOW + AGAIN_MS)
    assert state["warm_side"] is None


@pytest.mark.parametrize(
    ("name", "level"),
    [("Larch", "Larch"), ("a/b", "a%2Fb"), ("+", "%2B"), ("#1", "%231"), ("100%", "100%25"),
     ("é", "é"), ("\0", "%00")],
)  # fmt: skip
def test_a_name_is_one_level_of_a_topic(name: str, level: str) -> None:
    assert topic_level(name) == level


class Listener:
    """A subscriber of its own."""

    def __init__(self, port: int, topic: str) -> None:
        self.heard: list[tuple[str, dict[str, Any], bool]] = []
        self._client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        self._client.on_message = self._on_message
        self._client.connect(HOST, port)
        self._client.subscribe(topic, qos=1)
        self._client.loop_start()

    def _on_message(self, _client: paho.Client, _data: Any, message: paho.MQTTMessage) -> None:
        self.heard.append((message.topic, json.loads(message.payload), message.retain))

    def wait(self, count: int, timeout_s: float = 15.0) -> list[tuple[str, dict[str, Any], bool]]:
        deadline = time.monotonic() + timeout_s
        while len(self.heard) < count and time.monotonic() < deadline:
            time.sleep(0.05)
        assert len(self.heard) >= count
        return self.heard

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def test_the_watch_publishes_each_enclosures_state_retained(
    tmp_path: Path, broker: Mosquitto
) -> None:
    with Stage(tmp_path / "home", wall_ms() - 24 * HOUR_MS) as stage:
        write_care(stage.home, on_delay=0.03, on_delay_digesting=0.015, off_delay=0.02)
        stage.home.settings.write_text(
            f'[mqtt]\nhost = "{HOST}"\nport = {broker.port}\n[watch]\nevery_seconds = 0.2\n'
        )
        with Feed(stage, warm_1=26.0), WatchProcess(stage.home) as watch:
            watch.wait_to_say("Warm side low")
            deadline = time.monotonic() + 30
            while time.monotonic() < deadline:
                # A new subscriber each time: it hears what is retained first.
                listener = Listener(broker.port, "warmcoil/state/#")
                topic, state, retained = listener.wait(1)[0]
                listener.close()
                if state["alarms"] and retained:
                    break
                time.sleep(0.2)
            code, seconds = watch.end()
    assert (topic, retained, state["enclosure"]) == ("warmcoil/state/Larch", True, "Larch")
    assert state["warm_side"]["c"] == 26.0
    assert state["alarms"][0]["alarm"] == "warm side low"
    assert (code, seconds < 6) == (0, True)


def test_a_broker_that_comes_later_gets_the_newest(tmp_path: Path, broker: Mosquitto) -> None:
    broker.stop()
    home = Home(tmp_path)
    home.settings.write_text(f'[mqtt]\nhost = "{HOST}"\nport = {broker.port}\n')
    herald = Herald(home.folder)
    try:
        for value in range(20):
            assert herald.tell([("warmcoil/state/a", {"n": value})])
        time.sleep(1.0)
        broker.start()
        listener = Listener(broker.port, "warmcoil/state/a")
        (_, state, _) = listener.wait(1, 30.0)[-1]
        assert state == {"n": 19}
        listener.close()
    finally:
        herald.close()


def test_nothing_old_overtakes_what_is_new_when_a_connection_breaks(
    tmp_path: Path, broker: Mosquitto
) -> None:
    """A broker that hangs takes what is sent and acknowledges nothing; then it is killed."""
    home = Home(tmp_path)
    home.settings.write_text(f'[mqtt]\nhost = "{HOST}"\nport = {broker.port}\n')
    herald = Herald(home.folder)
    try:
        herald.tell([("warmcoil/state/a", {"n": 0})])
        listener = Listener(broker.port, "warmcoil/state/a")
        listener.wait(1, 30.0)
        listener.close()
        process = broker._process
        assert process is not None
        process.send_signal(signal.SIGSTOP)
        for value in range(1, 6):
            herald.tell([("warmcoil/state/a", {"n": value})])
        time.sleep(0.5)
        process.kill()
        process.wait()
        time.sleep(0.5)
        herald.tell([("warmcoil/state/a", {"n": 6})])
        broker.start()
        deadline = time.monotonic() + 20
        while time.monotonic() < deadline:
            time.sleep(1.0)
            listener = Listener(broker.port, "warmcoil/state/a")
            said = listener.wait(1, 5.0)
            listener.close()
            if said[-1][1] == {"n": 6}:
                break
        time.sleep(1.0)
        listener = Listener(broker.port, "warmcoil/state/a")
        assert listener.wait(1, 5.0)[-1][1] == {"n": 6}
        listener.close()
    finally:
        herald.close()


def test_a_publisher_that_does_not_read_holds_nothing_up(tmp_path: Path) -> None:
    herald = Herald(tmp_path)  # no settings: it ends at once
    now_s = 0.0
    herald._monotonic = lambda: now_s
    began = time.monotonic()
    big = [("warmcoil/state/a", {"text": "x" * 200_000})]
    results = {herald.tell(big) for _ in range(5)}
    assert False in results
    assert time.monotonic() - began < 2.0
    herald.close()


@pytest.fixture
def service() -> Iterator[tuple[str, list[str]]]:
    """An outside service; what it was asked for."""
    asked: list[str] = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_response(404 if "gone" in self.path else 200)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,))
    thread.start()
    yield f"http://127.0.0.1:{server.server_address[1]}", asked
    server.shutdown()
    server.server_close()
    thread.join()


def test_a_beat_and_what_went_wrong_without_the_address(
    service: tuple[str, list[str]],
) -> None:
    url, asked = service
    assert beat(f"{url}/secret") is None
    assert asked == ["/secret"]
    assert beat(f"{url}/gone") == "the service answered 404"
    assert beat("http://127.0.0.1:9/secret") == "the service was not reached (URLError)"


def test_it_beats_when_it_is_time_and_never_while_the_watch_is_blind(
    tmp_path: Path, service: tuple[str, list[str]]
) -> None:
    url, asked = service
    home = Home(tmp_path)
    home.settings.write_text('[watch]\nheartbeat_file = "beat"\nheartbeat_minutes = 1\n')
    (tmp_path / "beat").write_text(f"{url}/token\n")
    clock = {"s": 0.0}
    heart = Heartbeat(tmp_path, 60.0, lambda: clock["s"])
    silent = AlarmKey(Kind.COLLECTOR_SILENT)
    dead = {silent: Alarm(silent, State.ACKNOWLEDGED)}
    for at_s, alarms in ((0.0, dead), (1.0, {}), (30.0, {}), (62.0, dead), (63.0, standing())):
        clock["s"] = at_s
        heart.tick(alarms)
        if heart._process is not None:
            heart._process.wait(20)
    heart.close()
    assert asked == ["/token", "/token"]
    assert blind(dead)
    assert not blind({silent: Alarm(silent, State.RETURNED)})


@pytest.mark.parametrize("said", ["", "ftp://x", "two words", "https://a https://b"])
def test_a_file_without_an_address_is_said_without_its_content(tmp_path: Path, said: str) -> None:
    home = Home(tmp_path)
    home.settings.write_text('[watch]\nheartbeat_file = "beat"\n')
    (tmp_path / "beat").write_text(said)
    with pytest.raises(BadSettings) as caught:
        address_of(home)
    assert "no heartbeat" in str(caught.value)
    assert not said or said not in str(caught.value)


def test_the_process_says_in_one_line_what_is_wrong(tmp_path: Path) -> None:
    home = Home(tmp_path)
    home.settings.write_text('[watch]\nheartbeat_file = "beat"\n')
    command = [*Heartbeat(tmp_path, 1.0)._command]
    done = subprocess.run(command, capture_output=True, text=True, timeout=30, check=False)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "heartbeat_file" in done.stderr


def test_a_service_that_answers_rubbish_is_one_line_without_the_address() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:

        def answer() -> None:
            connection, _ = server.accept()
            with connection:
                connection.recv(1000)
                connection.sendall(b"rubbish\r\n\r\n")

        thread = threading.Thread(target=answer)
        thread.start()
        why = beat(f"http://127.0.0.1:{server.getsockname()[1]}/hunter2secret")
        thread.join()
    assert why == "the service was not reached (BadStatusLine)"
    assert beat("http://127.0.0.1:9/hunter2\x7fsecret") == (
        "the service was not reached (InvalidURL)"
    )


def test_a_service_that_answers_byte_by_byte_does_not_hold_the_beat_for_ever(
    tmp_path: Path,
) -> None:
    home = Home(tmp_path)
    stop = threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as server:

        def answer() -> None:
            connection, _ = server.accept()
            with connection, contextlib.suppress(OSError):
                while not stop.wait(0.1):
                    connection.sendall(b"H")

        thread = threading.Thread(target=answer)
        thread.start()
        home.settings.write_text('[watch]\nheartbeat_file = "beat"\n')
        (tmp_path / "beat").write_text(f"http://127.0.0.1:{server.getsockname()[1]}/")
        short = (
            "from analysis.watch import heartbeat; heartbeat._LIMIT_SECONDS = 2; "
            f"heartbeat.main(['--home', {str(tmp_path)!r}])"
        )
        done = subprocess.run([sys.executable, "-c", short], check=False, timeout=20)
        stop.set()
        thread.join()
    assert done.returncode == -signal.SIGALRM
