"""node.json under MicroPython: what is wrong is one line that says where, and what to do."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.micropython import ROOT, run

LOAD = """
import json, sys
from hardware.node import settings

def tried(path):
    try:
        said = settings.load(path)
    except settings.BadSettings as fault:
        return str(fault)
    return [said.name, said.topic, said.every_seconds, said.login, said.one_wire_pins, said.speak]

print(json.dumps([tried(path) for path in json.load(sys.stdin)]))
"""
PLAIN = {"name": "shelf", "one_wire_pins": [4]}
BAD: list[tuple[object, str]] = [
    ("{", "not JSON"),
    ("[]", "has to begin with {"),
    ({}, "name: give the node a name"),
    ({"name": "a/b", "one_wire_pins": [4]}, "name: use a to z"),
    ({"name": "shelf"}, "no sensor is named"),
    ({**PLAIN, "every_seconds": 1}, "every_seconds: has to be a whole number from 5 to 600"),
    ({**PLAIN, "every_seconds": "10"}, "every_seconds: has to be a whole number"),
    ({**PLAIN, "every_seconds": True}, "every_seconds: has to be a whole number"),
    ({**PLAIN, "evry": 1}, "evry: no such setting; there are buffer_readings, "),
    ({**PLAIN, "one_wire_pins": [-1]}, "one_wire_pins: -1 is not a pin"),
    ({**PLAIN, "one_wire_pins": [[]]}, "one_wire_pins: [] is not a pin"),
    ({**PLAIN, "one_wire_pins": [4, 4]}, "pin 4 is named twice"),
    ({**PLAIN, "i2c": {"sda": 4, "scl": 5}, "sht": {"0x44": "SHT4x"}}, "pin 4 is named twice"),
    ({**PLAIN, "i2c": {"sda": -1}}, "sda: has to be a whole number from 0 to 99"),
    ({**PLAIN, "time_server": "clock:x"}, "time_server: has to be host or host:port"),
    ({**PLAIN, "time_server": ":123"}, "time_server: has to be host or host:port"),
    ({**PLAIN, "mqtt": {"port": 70000}}, "port: has to be a whole number from 1 to 65535"),
    ("\ufeff{", "not JSON"),
    ({**PLAIN, "speak": "loud"}, "speak: has to be one of serial, mqtt"),
    ({**PLAIN, "speak": "mqtt"}, "mqtt: needs host"),
    ({**PLAIN, "speak": "mqtt", "mqtt": {"host": "b"}}, "wifi: needs name"),
    ({**PLAIN, "mqtt": {"hots": "b"}}, "mqtt.hots: no such setting; there are ca_file, host"),
    ({**PLAIN, "mqtt": {"username": "u"}}, "mqtt: username needs a password beside it"),
    ({**PLAIN, "sht": {"0x44": "SHT4x"}}, "sht: needs i2c"),
    (
        {**PLAIN, "i2c": {"sda": 5, "scl": 6}, "sht": {"0x46": "SHT3x"}},
        "sht.0x46: an SHT3x has 0x44 or 0x45",
    ),
    ({**PLAIN, "sht": {"0x99": "SHT4x"}}, "sht: 0x99 is no address"),
    ({**PLAIN, "sht": {"0x44": "SHT9"}}, "sht.0x44: has to be one of SHT3x, SHT4x"),
]


def test_every_fault_is_one_line(tmp_path: Path) -> None:
    paths = []
    for number, (said, _) in enumerate(BAD):
        paths.append(tmp_path / f"{number}.json")
        paths[-1].write_text(said if isinstance(said, str) else json.dumps(said))
    paths.append(tmp_path / "none.json")
    answers = run(LOAD, [str(path) for path in paths])
    for path, answer, (_, told) in zip(
        paths, answers, [*BAD, (None, "cannot be read")], strict=True
    ):
        assert answer.startswith(f"{path}: ")
        assert told in answer
        assert "\n" not in answer


def test_settings_that_are_right(tmp_path: Path) -> None:
    plain, full = tmp_path / "plain.json", tmp_path / "full.json"
    plain.write_text(json.dumps(PLAIN))
    more = {
        "speak": "mqtt",
        "every_seconds": 30,
        "wifi": {"name": "home", "password": "x"},
        "mqtt": {"host": "broker", "username": "shelf", "password": "y"},
    }
    full.write_text(json.dumps({**PLAIN, **more}))
    assert run(LOAD, [str(plain), str(full)]) == [
        ["shelf", "warmcoil/shelf/senml", 10, None, [4], "serial"],
        ["shelf", "warmcoil/shelf/senml", 30, ["shelf", "y"], [4], "mqtt"],
    ]


@pytest.mark.parametrize("module", sorted((ROOT / "hardware" / "node").glob("*.py")))
def test_only_pins_knows_the_board(module: Path) -> None:
    """What a test cannot run is kept in one place."""
    board_only = re.search(
        r"^(?:import|from) (machine|network|onewire|esp\w*|rp2)\b", module.read_text(), re.MULTILINE
    )
    assert (board_only is not None) == (module.name == "pins.py")
