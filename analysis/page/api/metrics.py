"""`/metrics`: figures for a program that collects them, in the Prometheus text format 0.0.4.

Units are the base ones of that format, in the names: celsius, ratio, volts, seconds, bytes.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from analysis.page.api.health import health
from analysis.page.looking import Looking, looking
from analysis.page.parts import parts_of
from analysis.probes import ProbeState, probe_states
from collector.readings import Quantity

router = APIRouter(tags=["health"])

_TYPE = "text/plain; version=0.0.4; charset=utf-8"
_QUANTITIES = {
    Quantity.TEMPERATURE: ("warmcoil_temperature_celsius", 1.0),
    Quantity.HUMIDITY: ("warmcoil_relative_humidity_ratio", 0.01),
    Quantity.VOLTAGE: ("warmcoil_probe_voltage_volts", 1.0),
}


@dataclass
class Family:
    """One metric: its name, what it says, and its values by their labels."""

    name: str
    says: str
    kind: str = "gauge"
    values: list[tuple[Mapping[str, str], float]] = field(default_factory=list)

    def lines(self) -> Iterator[str]:
        """As the format has it; nothing where there is no value."""
        if not self.values:
            return
        yield f"# HELP {self.name} {self.says}"
        yield f"# TYPE {self.name} {self.kind}"
        for labels, value in self.values:
            yield f"{self.name}{_labels(labels)} {value!r}"


@router.get("/metrics", response_class=Response)
def metrics(request: Request) -> Response:
    """Last readings with their ages, alarms, the collector's counters, this process's memory."""
    with looking(request) as home:
        families = [
            *_of_health(health(parts_of(request))),
            *_of_probes(probe_states(home.book, home.reader, home.settings, home.now_ms)),
            _of_alarms(home),
            *_of_collector(home.home.collector_state),
            *_of_process(),
        ]
    text = "\n".join(line for family in families for line in family.lines())
    return Response(text + "\n", media_type=_TYPE)


def _of_health(found: Mapping[str, Any]) -> Iterator[Family]:
    for name in ("store_readable", "book_readable", "collector_running"):
        if found[name] is not None:
            yield Family(f"warmcoil_{name}", "1: yes, 0: no.", values=[({}, float(found[name]))])


def _of_probes(states: Iterable[ProbeState]) -> list[Family]:
    families = {
        quantity: Family(name, f"Last {quantity} of a probe, flagged or not.")
        for quantity, (name, _) in _QUANTITIES.items()
    }
    ages = Family("warmcoil_reading_age_seconds", "Age of a probe's last reading.")
    doubted = Family("warmcoil_reading_doubted", "1: the last reading failed a plausibility check.")
    for state in states:
        for one in state.latest:
            labels = _place(state)
            scale = _QUANTITIES[one.quantity][1]
            families[one.quantity].values.append((labels, one.value * scale))
            of_quantity = {**labels, "quantity": one.quantity.value}
            ages.values.append((of_quantity, state.age_seconds(one)))
            doubted.values.append((of_quantity, float(not one.usable)))
    return [*families.values(), ages, doubted]


def _place(state: ProbeState) -> dict[str, str]:
    where = state.placement
    return {
        "probe": state.probe,
        "enclosure": where.enclosure if where is not None else "",
        "zone": where.zone.value if where is not None else "",
    }


def _of_alarms(home: Looking) -> Family:
    counted = Counter((one.shown_state, one.priority.name.lower()) for one in home.open_alarms())
    return Family(
        "warmcoil_alarms",
        "Alarms that stand or wait for an answer.",
        values=[
            ({"state": str(state), "priority": priority}, float(count))
            for (state, priority), count in sorted(counted.items())
        ],
    )


def _of_collector(path: Path) -> list[Family]:
    """Its counters since it started; nothing where it never ran, or its account is damaged."""
    frames = Family("warmcoil_source_frames_total", "Frames of a source.", "counter")
    readings = Family("warmcoil_source_readings_total", "Readings of a source.", "counter")
    dropped = Family("warmcoil_source_dropped_total", "Frames dropped, by reason.", "counter")
    connected = Family("warmcoil_source_connected", "1: yes, 0: no.")
    for source, one in _sources(path):
        labels = {"source": source}
        frames.values.append((labels, float(one.get("frames", 0))))
        readings.values.append((labels, float(one.get("readings", 0))))
        for reason, count in sorted(dict(one.get("dropped", {})).items()):
            dropped.values.append(({**labels, "reason": str(reason)}, float(count)))
        if one.get("connected") is not None:
            connected.values.append((labels, float(bool(one["connected"]))))
    return [frames, readings, dropped, connected]


def _sources(path: Path) -> list[tuple[str, dict[str, Any]]]:
    try:
        said = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return []
    sources = said.get("sources") if isinstance(said, dict) else None
    if not isinstance(sources, dict):
        return []
    return [(str(name), one) for name, one in sources.items() if isinstance(one, dict)]


def _of_process() -> Iterator[Family]:
    """Memory of this process, where the system says it (Linux)."""
    try:
        pages = int(Path("/proc/self/statm").read_text("ascii").split()[1])
    except (OSError, ValueError, IndexError):
        return
    import resource  # noqa: PLC0415  not on every system

    size = float(pages * resource.getpagesize())
    yield Family("process_resident_memory_bytes", "Resident memory.", values=[({}, size)])


def _labels(labels: Mapping[str, str]) -> str:
    if not labels:
        return ""
    inner = ",".join(f'{name}="{_escaped(value)}"' for name, value in labels.items())
    return f"{{{inner}}}"


def _escaped(value: str) -> str:
    return value.replace("\\", "\\\\").replace("\n", "\\n").replace('"', '\\"')
