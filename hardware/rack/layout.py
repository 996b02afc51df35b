"""What stands in a rack: enclosures, probes and the nodes they hang on, as a TOML file says it."""

from __future__ import annotations

import tomllib
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from config.errors import BadSettings
from config.faults import one_line
from hardware.rack.enclosure import EnclosureBuild
from hardware.rack.faults import FOREVER_MS
from hardware.rack.probe import ProbeBuild, SensorName
from hardware.rack.room import RoomClimate

ZoneName = Literal["warm side", "cool side", "hot spot", "hide", "room"]


@dataclass(frozen=True, slots=True)
class Seat:
    """Where a probe lies over [from_ms, until_ms): in a zone of an enclosure, or in the room."""

    probe: str
    enclosure: str | None
    zone: ZoneName
    from_ms: int = 0
    until_ms: int = FOREVER_MS


class Node(BaseModel):
    """A board that probes hang on, and the way it speaks."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str = Field(pattern=r"^[a-z0-9-]+$")
    speaks: Literal["serial", "mqtt"]


class LaidProbe(BaseModel):
    """A probe on a node, in its place. Without an enclosure it hangs in the room."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: str = Field(min_length=1)
    node: str
    sensor: SensorName = "DS18B20"
    enclosure: str | None = None
    zone: ZoneName = "room"
    offset_c: float = 0.0
    offset_rh_pct: float = 0.0

    @model_validator(mode="after")
    def _somewhere(self) -> Self:
        if (self.enclosure is None) != (self.zone == "room"):
            raise ValueError("a zone other than room needs an enclosure, and room has none")
        return self

    def build(self) -> ProbeBuild:
        """Its physics."""
        return ProbeBuild(self.id, self.sensor, self.offset_c, self.offset_rh_pct)

    def seat(self) -> Seat:
        """Its place, for good."""
        return Seat(self.id, self.enclosure, self.zone)


class Layout(BaseModel):
    """A whole rack."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    seed: int = 1
    room: RoomClimate = RoomClimate()
    enclosure: tuple[EnclosureBuild, ...]
    node: tuple[Node, ...]
    probe: tuple[LaidProbe, ...]

    @model_validator(mode="after")
    def _names_exist(self) -> Self:
        enclosures = {e.name for e in self.enclosure}
        nodes = {n.name for n in self.node}
        for probe in self.probe:
            if probe.node not in nodes:
                raise ValueError(
                    f"probe {probe.id} hangs on node {probe.node!r}, which is not there"
                )
            if probe.enclosure is not None and probe.enclosure not in enclosures:
                raise ValueError(
                    f"probe {probe.id} lies in {probe.enclosure!r}, which is not there"
                )
        return self

    def toml(self) -> str:
        """The same as TOML text, which `load_layout` reads back."""
        lines = [f"seed = {self.seed}", "", "[room]", *_pairs(asdict(self.room))]
        for enclosure in self.enclosure:
            lines += ["", "[[enclosure]]", *_pairs(asdict(enclosure))]
        for node in self.node:
            lines += ["", "[[node]]", *_pairs(node.model_dump())]
        for probe in self.probe:
            lines += ["", "[[probe]]", *_pairs(probe.model_dump(exclude_none=True))]
        return "\n".join(lines) + "\n"


def load_layout(path: Path) -> Layout:
    """Read a layout. Raises BadSettings, one line, when it cannot be used."""
    try:
        return Layout.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except OSError as fault:
        raise BadSettings(f"{path}: cannot be read: {fault.strerror}") from fault
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise BadSettings(f"{path}: not TOML: {fault}") from fault
    except ValidationError as fault:
        raise BadSettings(f"{path}: {one_line(fault)}") from fault


def small_layout(seed: int = 1) -> Layout:
    """Two enclosures on a serial node and an MQTT node: what the rack is without a file."""
    return Layout(
        seed=seed,
        enclosure=(EnclosureBuild("left shelf"), EnclosureBuild("right shelf", setpoint_c=31.6)),
        node=(Node(name="shelf", speaks="serial"), Node(name="bench", speaks="mqtt")),
        probe=(
            _laid("urn:dev:ow:28a1b2c3d4e5f6ac", "shelf", "left shelf", "warm side"),
            _laid("urn:dev:ow:28b2c3d4e5f60756", "shelf", "left shelf", "cool side"),
            _laid("urn:dev:ow:28c3d4e5f607183c", "bench", "right shelf", "warm side"),
            _laid("urn:dev:ow:28d4e5f607182929", "bench", "right shelf", "cool side"),
            LaidProbe(id="urn:dev:mac:02a0b0fffe0c0d01", node="bench", sensor="SHT4x"),
        ),
    )


def _laid(probe: str, node: str, enclosure: str, zone: ZoneName) -> LaidProbe:
    return LaidProbe(id=probe, node=node, enclosure=enclosure, zone=zone)


def _pairs(values: dict[str, str | float]) -> list[str]:
    # Names here are our own: plain text without quotes or control characters.
    return [
        f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value!r}"
        for key, value in values.items()
    ]
