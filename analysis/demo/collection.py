"""The invented collection: four animals, five enclosures, eleven probes. Nothing of it is real."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from crccheck.crc import Crc8MaximDow

from hardware.rack.enclosure import EnclosureBuild
from hardware.rack.layout import Node, ZoneName
from hardware.rack.probe import ProbeBuild, SensorName

TIME_ZONE = "Europe/Lisbon"
ZONE = ZoneInfo(TIME_ZONE)
KEEPING_ROOM = "north room"

OAK = "oak cabinet"
LEFT = "left shelf"
RIGHT = "right shelf"
TUB = "corner tub"
BENCH = "long bench"

SHELF_NODE = Node(name="shelf", speaks="serial")
BENCH_NODE = Node(name="bench", speaks="mqtt")


@dataclass(frozen=True, slots=True)
class Kept:
    """An animal and how it is kept and fed.

    Masses are at the start of 400 days and now, in g; `prey_share` is the prey's mass as a part
    of the body's; `latest_days` how many days ago its latest meal was offered.
    """

    animal: str
    species: str
    sex: str
    age_days: int
    first_g: float
    now_g: float
    every_days: tuple[int, int]
    prey_share: tuple[float, float]
    latest_days: int
    shed_days: int


SORREL = Kept(
    "Sorrel", "Boa constrictor", "female", 2630, 4420, 4860, (9, 13), (0.075, 0.095), 6, 74
)
PILCHARD = Kept(
    "Pilchard", "Boa imperator", "male", 1290, 1640, 2070, (9, 12), (0.085, 0.11), 8, 63
)
OMBRA = Kept("Ombra", "Boa imperator", "female", 810, 890, 1530, (9, 11), (0.09, 0.12), 2, 52)
TANSY = Kept("Tansy", "Boa imperator", "female", 470, 74, 530, (9, 11), (0.09, 0.125), 3, 38)
ANIMALS = (SORREL, PILCHARD, OMBRA, TANSY)

ENCLOSURES = (
    EnclosureBuild(OAK, setpoint_c=31.4, warm_tau_s=9_600, cool_share=0.46, wet_hpa=8.0),
    EnclosureBuild(LEFT, setpoint_c=31.0, warm_tau_s=8_400, cool_share=0.47),
    EnclosureBuild(RIGHT, setpoint_c=31.3, warm_tau_s=7_800, heat_k=19.0, cool_share=0.48),
    EnclosureBuild(TUB, setpoint_c=31.2, warm_tau_s=6_000, cool_share=0.52, wet_hpa=9.0),
    EnclosureBuild(BENCH, setpoint_c=31.2, warm_tau_s=9_000, cool_share=0.45),
)
ENCLOSURE_NOTES = {
    OAK: "vivarium, 180 cm, heat panel",
    LEFT: "vivarium, 120 cm, heat panel",
    RIGHT: "vivarium, 120 cm, heat panel",
    TUB: "tub, 60 cm, heat mat",
    BENCH: "vivarium, 90 cm, heat panel",
}


@dataclass(frozen=True, slots=True)
class DemoProbe:
    """A probe of the demo.

    `offset_c` is how far it reads from the truth, `known_offset_c` what the keeper's ice bath
    found and the settings take off again (None: never tried).
    """

    probe: str
    name: str
    node: str
    enclosure: str | None
    zone: ZoneName
    sensor: SensorName = "DS18B20"
    offset_c: float = 0.0
    known_offset_c: float | None = None

    def build(self) -> ProbeBuild:
        """Its physics."""
        return ProbeBuild(self.probe, self.sensor, self.offset_c)


def _one_wire(serial: int) -> str:
    """The device URN (RFC 9039) of a made-up DS18B20: family 28h, serial number, CRC-8."""
    rom = bytes([0x28]) + serial.to_bytes(6, "little")
    return f"urn:dev:ow:{rom.hex()}{Crc8MaximDow.calc(rom):02x}"


# The OUI 02… is one that anybody may use: locally administered (IEEE 802).
_SHT = "urn:dev:mac:02b0a1fffe{:06x}"
_SERIAL, _MQTT = SHELF_NODE.name, BENCH_NODE.name

OAK_WARM = DemoProbe(_one_wire(0x3A51C07), f"{OAK}, warm side", _MQTT, OAK, "warm side")
OAK_COOL = DemoProbe(
    _one_wire(0x3A51C4E), f"{OAK}, cool side", _MQTT, OAK, "cool side", offset_c=-0.1
)
OAK_HIDE = DemoProbe(_SHT.format(0x10), f"{OAK}, hide", _MQTT, OAK, "hide", "SHT4x")
LEFT_WARM = DemoProbe(
    _one_wire(0x3A52F90), f"{LEFT}, warm side", _SERIAL, LEFT, "warm side",
    offset_c=0.26, known_offset_c=-0.26,
)  # fmt: skip
LEFT_COOL = DemoProbe(_one_wire(0x3A52FA3), f"{LEFT}, cool side", _SERIAL, LEFT, "cool side")
RIGHT_WARM = DemoProbe(
    _one_wire(0x3A53318), f"{RIGHT}, warm side", _SERIAL, RIGHT, "warm side", offset_c=0.08
)
RIGHT_COOL_OLD = DemoProbe(
    _one_wire(0x2F00A11), f"{RIGHT}, cool side (old)", _SERIAL, RIGHT, "cool side", offset_c=0.2
)
RIGHT_COOL = DemoProbe(_one_wire(0x3A6001B), f"{RIGHT}, cool side", _SERIAL, RIGHT, "cool side")
TANSY_WARM = DemoProbe(_one_wire(0x3A53E77), f"{BENCH}, warm side", _MQTT, BENCH, "warm side")
TANSY_COOL = DemoProbe(
    _one_wire(0x3A53E8C), f"{BENCH}, cool side", _MQTT, BENCH, "cool side", offset_c=0.1
)
TANSY_HIDE = DemoProbe(_SHT.format(0x11), f"{BENCH}, hide", _MQTT, BENCH, "hide", "SHT4x")
ROOM_PROBE = DemoProbe(_one_wire(0x3A54002), f"{KEEPING_ROOM}", _SERIAL, None, "room")
PROBES = (
    OAK_WARM, OAK_COOL, OAK_HIDE, LEFT_WARM, LEFT_COOL, RIGHT_WARM, RIGHT_COOL_OLD, RIGHT_COOL,
    TANSY_WARM, TANSY_COOL, TANSY_HIDE, ROOM_PROBE,
)  # fmt: skip

FIRST_HOME = {SORREL: OAK, PILCHARD: RIGHT, OMBRA: LEFT, TANSY: TUB}
"""Where each animal lived at first; Tansy moved later."""
WARM_PROBE = {OAK: OAK_WARM, LEFT: LEFT_WARM, RIGHT: RIGHT_WARM}
