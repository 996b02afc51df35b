"""A make-believe board, run by MicroPython: the firmware as it is, on simulated buses.

    micropython -m hardware.simulated.board NODE.JSON WORLD.JSON

WORLD.JSON says what hangs on the board, and where things are told:

    {"every_ms": 200, "slack_ms": 120000, "commands": "FILE", "taken": "FILE",
     "ds18b20": ["28…", …], "celsius": 21, "sht": {"0x44": 7},
     "name_server": "127.0.0.1:5300"}

Lines that are added to the commands file befall it: `unplug ROM`, `plug ROM`, `short`, `mend`,
`warm ROM CELSIUS`, `hold ROM` (in a closed hand from then on), `freeze` (the sensors' task
hangs). With `taken`, every DS18B20 climbs by
1/16 °C from reading to reading, and each value that the firmware took is written there first, so
that a test knows what is missing. The watchdog is real in this: not fed for two seconds, the
process ends with code 3.
"""

import asyncio
import json
import sys
import time

from hardware.node import ds18b20, sht
from hardware.node.node import Board, Node
from hardware.node.publisher import Network
from hardware.node.settings import Settings, load
from hardware.node.talker import Port
from hardware.node.words import Said, Sensors

from .clock import Clock
from .ds18b20 import Ds18b20
from .i2c import Bus
from .one_wire import Line
from .sht import Sht3x, Sht4x

TYPE_CHECKING = False  # MicroPython has no typing
if TYPE_CHECKING:
    from typing import Any

_LOOK_S = 0.02
_WATCHDOG_MS = 2000
_STEP_C = 1 / 16
_HAND_C, _HAND_S = 34.0, 16.0
"""A closed hand, and how fast metal in it follows (our own choice, as in the search for it)."""


def _ticks_ms() -> int:
    return time.time_ns() // 1_000_000


class RealClock(Clock):
    """Time that goes by itself."""

    def now_ms(self) -> int:
        """Milliseconds."""
        return _ticks_ms()

    def sleep_ms(self, duration_ms: int) -> None:
        """Wait."""
        time.sleep(duration_ms / 1000)


class Noted(Sensors):
    """Sensors whose readings are written down as the firmware takes them."""

    def __init__(self, sensors: Sensors, world: "World") -> None:
        self._sensors = sensors
        self._world = world

    async def read(self, said: Said) -> None:
        """Read, and write down."""
        while self._world.frozen:
            await asyncio.sleep(_LOOK_S)
        await self._sensors.read(said)
        if self._world.taken is None:
            return
        with open(self._world.taken, "a") as file:
            file.write("".join(f"{r.probe} {r.unit} {r.value_e4}\n" for r in said.readings))
        for sensor in self._world.probes.values():
            sensor.celsius += _STEP_C


class World:
    """What hangs on the board."""

    def __init__(self, said: "dict[str, Any]") -> None:
        clock = RealClock()
        roms = said.get("ds18b20", [])
        places = said.get("sht", {})
        start_c = said.get("celsius", 21.0)
        self.probes = {rom: Ds18b20(bytes.fromhex(rom), start_c, clock) for rom in roms}
        self.line = Line(list(self.probes.values()))
        self.bus = Bus({})
        self._places = {int(address, 16): number for address, number in places.items()}
        self._clock = clock
        self.frozen = False
        self.taken: str | None = said.get("taken")
        self.name_server: str = said.get("name_server", "")
        self._commands: str | None = said.get("commands")
        self._heard = 0
        self._held: list[Ds18b20] = []

    def fit(self, kinds: dict[int, str]) -> None:
        """Put the SHT sensors in, of the kinds that the settings name."""
        makes = {"SHT3x": Sht3x, "SHT4x": Sht4x}
        for address, number in self._places.items():
            self.bus.devices[address] = makes[kinds[address]](25.0, 55.0, number, self._clock)

    async def befall(self) -> None:
        """Do what is told in the commands file."""
        while self._commands is not None:
            with open(self._commands) as file:
                lines = file.read().split("\n")[:-1]
            for line in lines[self._heard :]:
                self._obey(line.split())
            self._heard = len(lines)
            for device in self._held:
                device.celsius += (_HAND_C - device.celsius) * _LOOK_S / _HAND_S
            await asyncio.sleep(_LOOK_S)

    def _obey(self, words: list[str]) -> None:
        if words[0] in ("unplug", "plug"):
            device = self.probes.get(words[1]) or self.bus.devices[int(words[1], 16)]
            getattr(device, words[0])()
        elif words[0] == "warm":
            self.probes[words[1]].celsius = float(words[2])
        elif words[0] == "hold":
            self._held.append(self.probes[words[1]])
        elif words[0] in ("short", "mend"):
            self.line.shorted = words[0] == "short"
        elif words[0] == "freeze":
            self.frozen = True


class WorldNetwork(Network):
    """A network that is always up."""

    def __init__(self, name_server: str) -> None:
        self._name_server = name_server

    def name_server(self) -> str:
        """As the world says."""
        return self._name_server


class SimulatedBoard(Board):
    """The board."""

    name = "urn:dev:mac:02005efffe00533a"

    def __init__(self, world: World, speaks_here: bool) -> None:
        self._world = world
        self.network = WorldNetwork(world.name_server)
        self._port = Port(sys.stdout.buffer)
        self._speaks_here = speaks_here
        self._fed_ms = _ticks_ms()

    def sensors(self, settings: Settings) -> list[Sensors]:
        """A line with DS18B20, and SHT sensors."""
        self._world.fit(settings.sht)
        found: list[Sensors] = [ds18b20.Chain(self._world.line, self.name + "_pin-4")]
        for address, kind in settings.sht.items():
            found.append(sht.Sht(self._world.bus, address, sht.KINDS[kind], self.name))
        return [Noted(found[0], self._world)] + found[1:]

    def feed(self) -> None:
        """Feed the watchdog."""
        self._fed_ms = _ticks_ms()

    async def bite(self) -> None:
        """The watchdog: starts the board again when it was not fed."""
        while _ticks_ms() - self._fed_ms < _WATCHDOG_MS:
            await asyncio.sleep(0.1)
        sys.exit(3)

    def write(self, data: bytes) -> bool:
        """The serial line."""
        return self._port.write(data)

    def log(self, text: str) -> None:
        """A line for the test's log."""
        sys.stderr.write(text + "\n")


async def main(settings_file: str, world_file: str) -> None:
    """Run the node on the board until it is killed."""
    settings = load(settings_file)
    with open(world_file) as file:
        said = json.load(file)
    world = World(said)
    board = SimulatedBoard(world, settings.speak == "serial")
    node = Node(settings, board, said["every_ms"], said.get("slack_ms", 120_000))
    await asyncio.gather(node.run(), world.befall(), board.bite())


asyncio.run(main(sys.argv[1], sys.argv[2]))
