"""The guide names every setting, every fault and only commands that are there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import typer

from analysis.cli.app import app
from tests.micropython import ROOT, run

NODE = ROOT / "hardware" / "node"
GUIDE = (ROOT / "hardware" / "GUIDE.md").read_text(encoding="utf-8")
KNOWN = """
import json
from hardware.node import settings
parts = (settings._KNOWN, settings._MQTT, settings._WIFI, settings._I2C)
print(json.dumps([sorted(part) for part in parts]))
"""


def test_every_setting_is_in_the_guide() -> None:
    for name in (name for part in run(KNOWN) for name in part):
        assert re.search(rf"[`\"]{name}[`\"]", GUIDE), name


@pytest.mark.parametrize("module", ["ds18b20.py", "sht.py", "one_wire.py", "publisher.py"])
def test_every_fault_is_in_the_guide(module: str) -> None:
    text = (NODE / module).read_text(encoding="utf-8").replace("{one_wire.MOST_DEVICES}", "32")
    found = re.findall(
        r'(?:NoReading\(|fault\([^"\n]+, |_lost\(said, |Fault\(self\._board, )f?"([^"]+)"\)', text
    )
    assert found
    for said in found:
        assert f"`{re.sub('{.*}', '…', said)}`" in GUIDE


def test_the_guides_commands_are_there() -> None:
    commands = set(getattr(typer.main.get_command(app), "commands", {}))
    named = set(re.findall(r"(?:`|^ *)warmcoil ([a-z-]+)", GUIDE, re.MULTILINE))
    assert len(named) > 10
    assert named - commands == set()


def test_what_the_guide_tells_to_copy_is_there() -> None:
    for name in re.findall(r"mpremote cp (?:-r )?(\S+)", GUIDE):
        if name.startswith("node") and not name.endswith(".json"):
            assert Path(ROOT, "hardware", name).exists()
