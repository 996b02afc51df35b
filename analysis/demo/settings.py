"""The demo home's own `warmcoil.toml`."""

from __future__ import annotations

import json
import re
from pathlib import Path

from analysis.demo.collection import PROBES, TIME_ZONE
from analysis.demo.story import Story
from hardware.rack.broker import HOST, Broker

_TEMPLATE = """\
# The demo's settings. Everything of this home is invented; delete the folder to be rid of it.
time_zone = "{time_zone}"

[collect]
commit_seconds = 2                  # amqtt takes back what is not acknowledged within 5 s

[[serial]]                          # the shelf node: a real pty that the simulated rack speaks over
port = {serial}

[mqtt]                              # the bench node: a real broker on this machine only
host = "{host}"
port = {broker_port}
protocol = "{protocol}"
username = "collector"              # a name that any client may use

[page]
port = {page_port}

[watch]
notify = []                         # where alarms go; try: ["json://localhost:8080/alarms"]
"""


def demo_settings(
    story: Story, *, serial: Path, broker: Broker, broker_port: int, page_port: int
) -> str:
    """The settings as text."""
    lines = [
        _TEMPLATE.format(
            time_zone=TIME_ZONE,
            serial=json.dumps(str(serial)),  # a basic string is the same in JSON and TOML
            host=HOST,
            broker_port=broker_port,
            protocol=broker.protocol,
            page_port=page_port,
        )
    ]
    seated = {seat.probe for seat in story.seats}
    for probe in PROBES:
        if probe.probe not in seated:
            continue
        lines += ["[[probe]]", f'id = "{probe.probe}"', f'name = "{probe.name}"']
        lines += [f'sensor = "{probe.sensor}"']
        if probe.known_offset_c is not None:
            lines.append(f"temperature_offset_c = {probe.known_offset_c}  # found in an ice bath")
        lines.append("")
    return "\n".join(lines)


def with_broker(text: str, broker: Broker, port: int) -> str:
    """The same settings with this broker's port and protocol, all else as the keeper left it."""
    before, mark, section = text.partition("[mqtt]")
    section, after = _first_section(section)
    section = re.sub(r"(?m)^port\s*=.*$", f"port = {port}", section, count=1)
    section = re.sub(r"(?m)^protocol\s*=.*$", f'protocol = "{broker.protocol}"', section, count=1)
    return before + mark + section + after


def _first_section(text: str) -> tuple[str, str]:
    found = re.search(r"(?m)^\[", text)
    return (text, "") if found is None else (text[: found.start()], text[found.start() :])
