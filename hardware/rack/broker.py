"""An MQTT broker of our own, on loopback: mosquitto where it is installed, else amqtt.

amqtt (a Python package) speaks MQTT 3.1.1. It keeps a session only for a client with a user
name, and takes a message back that is not acknowledged within 5 s; so a collector that uses it
needs a user name and commits sooner than that.
"""

from __future__ import annotations

import argparse
import asyncio
import importlib.util
import logging
import os
import shutil
import signal
import socket
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from config.errors import NotSo

BrokerKind = Literal["mosquitto", "amqtt"]
HOST = "127.0.0.1"
_SYSTEM_FOLDERS = ("/usr/sbin", "/usr/local/sbin")


@dataclass(frozen=True, slots=True)
class Broker:
    """A broker that can be started: what kind, how to start it, and what it speaks."""

    kind: BrokerKind
    command: tuple[str, ...]
    protocol: Literal["5", "3.1.1"]


def mosquitto_path(search: str | None = None) -> str | None:
    """Where mosquitto is: on `search` (default: PATH and the folders of system commands)."""
    if search is None:
        search = os.pathsep.join((os.environ.get("PATH", os.defpath), *_SYSTEM_FOLDERS))
    return shutil.which("mosquitto", path=search)


def prepare_broker(folder: Path, port: int, search: str | None = None) -> Broker:
    """Choose a broker, write what it needs into `folder`, and say how to start it on `port`.

    Raises NotSo when none is installed.
    """
    folder = folder.absolute()
    folder.mkdir(parents=True, exist_ok=True)
    found = mosquitto_path(search)
    if found is not None:
        config = folder / "mosquitto.conf"
        config.write_text(_mosquitto_config(folder, port), encoding="utf-8")
        return Broker("mosquitto", (found, "-c", str(config)), "5")
    if not _amqtt_is_there():
        raise NotSo(
            "no MQTT broker here; install the Debian package mosquitto, "
            "or the Python package amqtt: pip install amqtt"
        )
    command = (sys.executable, "-m", "hardware.rack.broker", "--port", str(port))
    return Broker("amqtt", command, "3.1.1")


def _amqtt_is_there() -> bool:
    try:
        return importlib.util.find_spec("amqtt") is not None
    except ValueError:  # the name is taken by something that is no module
        return False


def free_port() -> int:
    """A TCP port on loopback that nobody listens on just now."""
    with socket.socket() as listener:
        listener.bind((HOST, 0))
        port: int = listener.getsockname()[1]
        return port


def port_is_free(port: int) -> bool:
    """True when a broker could listen on `port` of loopback."""
    with socket.socket() as listener:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((HOST, port))
        except OSError:
            return False
        return True


def _mosquitto_config(folder: Path, port: int) -> str:
    store = folder / "mosquitto"
    store.mkdir(exist_ok=True)
    lines = [
        f"listener {port} {HOST}",
        "allow_anonymous true",
        "persistence true",
        f"persistence_location {store}/",
        "autosave_interval 30",
        "persistent_client_expiration 7d",
        # The collector acknowledges after its commit: what arrives until then is in flight.
        "max_inflight_messages 0",
        "max_queued_messages 100000",
        "log_dest stderr",
        "log_type error",
        "log_type warning",
    ]
    if os.geteuid() == 0:
        # Else mosquitto becomes another user, who may not write here.
        lines.append("user root")
    return "\n".join(lines) + "\n"


async def _serve(port: int) -> None:
    from amqtt.broker import Broker as AmqttBroker  # noqa: PLC0415  # an optional package

    broker = AmqttBroker(
        {
            "listeners": {"default": {"type": "tcp", "bind": f"{HOST}:{port}"}},
            # Any user name will do on loopback; without one it would keep no session.
            "plugins": {
                "amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": False}
            },
        }
    )
    stop = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(number, stop.set)
    await broker.start()
    await stop.wait()
    await broker.shutdown()


def main() -> None:
    """`python -m hardware.rack.broker --port N`: amqtt on loopback until stopped."""
    parser = argparse.ArgumentParser(description="An MQTT 3.1.1 broker on loopback, for the demo.")
    parser.add_argument("--port", type=int, required=True)
    logging.basicConfig(level=logging.WARNING)
    asyncio.run(_serve(parser.parse_args().port))


if __name__ == "__main__":
    main()
