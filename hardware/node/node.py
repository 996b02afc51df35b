"""A node at work: it reads its sensors at a steady pace, and lets one of the two ways out speak."""

import asyncio

from . import sntp
from .beats import Beats
from .clock import Clock
from .faults import Faults
from .names import Names
from .publisher import Network, Publisher
from .ring import Ring
from .settings import Settings
from .talker import Talker
from .words import Said, Sensors

TYPE_CHECKING = False  # MicroPython has no typing
if TYPE_CHECKING:
    from collections.abc import Callable

_FEED_S = 1
_ASK_TIME_FIRST_S, _ASK_TIME_MOST_S, _ASK_TIME_S = 16, 256, 3600
"""Until it is asked again: after no answer, twice as long each time up to the second; and after
one. RFC 4330 §10: never under 15 s."""
SLACK_MS = 30_000
_PUBLISHER_MS = 180_000


class Board:
    """What the board has and does. `pins` has the real one, tests a simulated one."""

    name = ""
    """Its device name: `urn:dev:mac:` and its EUI-64."""
    network = Network()

    def sensors(self, settings: Settings) -> list[Sensors]:
        """All sensors that the settings name."""
        raise NotImplementedError

    def feed(self) -> None:
        """Feed the watchdog."""
        raise NotImplementedError

    def write(self, data: bytes) -> bool:
        """Write to the serial line; False when nobody took it."""
        raise NotImplementedError

    def tell_time(self, unix_ms: int) -> None:
        """It is that time (UTC): for TLS, which asks whether a certificate is valid now."""

    def log(self, text: str) -> None:
        """A line for whoever looks. A node that speaks over the serial line says none."""
        raise NotImplementedError


class Node:
    """Sensors, a clock and a way out.

    `every_ms` is another pace than the settings', and `slack_ms` how late a round may be before
    the watchdog is left hungry: tests have little time.
    """

    def __init__(
        self,
        settings: Settings,
        board: Board,
        every_ms: int | None = None,
        slack_ms: int = SLACK_MS,
    ) -> None:
        self._settings = settings
        self._board = board
        self._every_ms = every_ms or settings.every_seconds * 1000
        self._clock = Clock()
        self._faults = Faults()
        self._names = Names()
        self._sensors = board.sensors(settings)
        self._ring = Ring(settings.buffer_readings)
        longest_ms = {"sensors": self._every_ms + slack_ms}
        if settings.speak == "mqtt":
            longest_ms["publisher"] = _PUBLISHER_MS
        self._beats = Beats(self._clock.now_ms(), longest_ms)

    async def run(self) -> None:
        """Work until the power goes."""
        if self._settings.speak == "mqtt":
            publisher = Publisher(
                self._settings,
                board=self._board.name,
                network=self._board.network,
                ring=self._ring,
                faults=self._faults,
                clock=self._clock,
                names=self._names,
                beat=lambda: self._beats.beat("publisher", self._clock.now_ms()),
                log=self._board.log,
            )
            await asyncio.gather(
                self._read(lambda said, at_ms: self._keep(said, at_ms, publisher)),
                publisher.run(),
                self._ask_time(),
                self._feed(),
            )
        else:
            talker = Talker(self._board.write, self._faults)
            await asyncio.gather(
                self._read(lambda said, at_ms: talker.say(said.readings, at_ms)), self._feed()
            )

    async def _read(self, tell: "Callable[[Said, int], None]") -> None:
        due_ms = self._clock.now_ms()
        while True:
            try:
                await self._round(tell)
            except MemoryError:  # TLS may have it all just now; what waits is kept
                self._board.log("sensors: not enough memory for this round")
            due_ms = max(due_ms + self._every_ms, self._clock.now_ms())
            await asyncio.sleep((due_ms - self._clock.now_ms()) / 1000)

    async def _round(self, tell: "Callable[[Said, int], None]") -> None:
        """Read all sensors once. A round that does not come to its end is no sign of life."""
        said = Said()
        for sensors in self._sensors:
            await sensors.read(said)
        at_ms = self._clock.now_ms()
        self._faults.see(said.faults)
        tell(said, at_ms)
        self._beats.beat("sensors", at_ms)

    def _keep(self, said: Said, at_ms: int, publisher: Publisher) -> None:
        for reading in said.readings:
            self._ring.add(self._clock.stamp(at_ms), reading)
        publisher.news.set()

    async def _ask_time(self) -> None:
        again_s = _ASK_TIME_FIRST_S
        while True:
            wait_s = _ASK_TIME_FIRST_S
            try:
                await self._board.network.ensure()
                host, port = self._settings.time_server
                host = await self._names.address(host, self._board.network.name_server())
                await sntp.set_clock(self._clock, host, port)
                self._board.tell_time(self._clock.stamp(self._clock.now_ms()))
                wait_s, again_s = _ASK_TIME_S, _ASK_TIME_FIRST_S
            except (OSError, MemoryError) as fault:  # TLS may have all the memory just now
                self._board.log(f"time server: {fault}")
            except (OverflowError, sntp.NoTime) as fault:  # a year that the board cannot count to
                self._board.log(f"time server: {fault}")
                wait_s, again_s = again_s, min(2 * again_s, _ASK_TIME_MOST_S)
            await asyncio.sleep(wait_s)

    async def _feed(self) -> None:
        """Feed the watchdog while everything moves; otherwise let it start the board again."""
        while True:
            silent = self._beats.silent(self._clock.now_ms())
            if silent:
                self._board.log(f"no sign of life: {', '.join(silent)}")
            else:
                self._board.feed()
            await asyncio.sleep(_FEED_S)
