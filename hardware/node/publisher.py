"""The way out over MQTT: what waits goes out in order, and stays until the broker has it.

The network and the broker may come and go. A reading carries the time at which it was taken, so
that one that arrives late, or twice, is the same reading.
"""

import asyncio
import gc

from . import mqtt, senml
from .clock import Clock
from .faults import Faults
from .names import Names
from .packets import MqttFault
from .ring import Ring
from .settings import Settings
from .words import Fault

TYPE_CHECKING = False  # MicroPython has no typing
if TYPE_CHECKING:
    from collections.abc import Callable

KEEP_ALIVE_S = 30
AT_ONCE = 10
"""Readings in a message: about 900 bytes."""
WITHOUT_CLOCK_MS = 120_000
"""So long it waits for the time of day; after that readings go out relative to now."""
_FIRST_WAIT_S, _MOST_WAIT_S = 1, 30
_STEADY_MS = 10_000
_REJOIN_AFTER = 8
"""Failures in a row, some three minutes: a Wi-Fi may look joined and carry nothing."""


class Network:
    """The Wi-Fi. `pins` has the real one."""

    async def ensure(self) -> None:
        """Return when it is up. Raises OSError when it does not come up."""

    def again(self) -> None:
        """Nothing was reached through it for long: join it anew next time."""

    def name_server(self) -> str:
        """Its name server, host or host:port in digits; "" where it names none."""
        return ""


class Publisher:
    """Sends what waits in the ring, and the faults that are due. `board` is the board's name.

    `beat` is called whenever it has done something, at least every two minutes.
    """

    def __init__(
        self,
        settings: Settings,
        *,
        board: str,
        network: Network,
        ring: Ring,
        faults: Faults,
        clock: Clock,
        names: Names,
        beat: "Callable[[], None]",
        log: "Callable[[str], None]",
    ) -> None:
        self._settings = settings
        self._board = board
        self._network = network
        self._ring = ring
        self._faults = faults
        self._clock = clock
        self._names = names
        self._beat = beat
        self._log = log
        self._told_dropped = 0
        self._failed = 0
        self._spoke_ms = 0
        self._greeted_ms: int | None = None
        self.news = asyncio.Event()

    async def run(self) -> None:
        """Connect, send, and connect again, for ever."""
        wait_s = _FIRST_WAIT_S
        while True:
            self._greeted_ms = None
            try:
                await self._one_connection()
            except (OSError, MqttFault) as fault:
                self._log(f"broker: {fault}")
            except MemoryError:  # TLS asks for much at once; what waits here is kept
                self._log("broker: not enough memory; give fewer buffer_readings if this stays")
            self._ring.failed()
            gc.collect()  # sockets of connections that never came are freed no earlier
            self._failed += 1
            if self._failed % _REJOIN_AFTER == 0:
                self._network.again()
            if self._was_steady():
                wait_s = _FIRST_WAIT_S
            await asyncio.sleep(wait_s)
            wait_s = min(2 * wait_s, _MOST_WAIT_S)

    def _was_steady(self) -> bool:
        """True when the last connection stood for a while; a try that fails slowly did not."""
        greeted_ms = self._greeted_ms
        return greeted_ms is not None and self._clock.now_ms() - greeted_ms >= _STEADY_MS

    async def _one_connection(self) -> None:
        self._beat()
        await self._network.ensure()
        self._beat()
        host, port, ca_file = self._settings.broker
        address = await self._names.address(host, self._network.name_server())
        self._beat()
        link = await mqtt.open_connection(address, port, ca_file, host)
        try:
            gone = senml.pack([senml.fault_record(Fault(self._board, "the node is gone"), None)])
            await link.greet(
                "warmcoil-" + self._settings.name,
                KEEP_ALIVE_S,
                (self._settings.topic, gone.encode()),
                self._settings.login,
            )
            self._log("broker: connected")
            self._failed = 0
            self._spoke_ms = self._greeted_ms = self._clock.now_ms()
            while True:
                self._beat()
                if not await self._send(link):
                    await self._idle(link)
        finally:
            await link.close()

    async def _send(self, link: mqtt.Connection) -> bool:
        """Send one message; False when there is nothing to send."""
        now_ms = self._clock.now_ms()
        if not self._clock.is_set and now_ms < WITHOUT_CLOCK_MS:
            return False
        dropped = self._ring.dropped
        due = self._faults.due(now_ms) + self._lost(dropped - self._told_dropped)
        waiting = self._ring.oldest(AT_ONCE)
        if not due and not waiting:
            return False
        at_ms = self._clock.stamp(now_ms)
        records = [senml.fault_record(one, self._time(at_ms, now_ms)) for one in due]
        records += [senml.record(one, self._time(at_ms, now_ms)) for at_ms, one in waiting]
        message = senml.pack(records).encode()
        await link.publish(self._settings.topic, message)
        self._spoke_ms = self._clock.now_ms()
        self._ring.done()
        self._told_dropped = dropped
        self._faults.said(due, now_ms)
        return True

    async def _idle(self, link: mqtt.Connection) -> None:
        """Wait for news; ask the broker whether it is there where nothing was sent for long.

        News may be nothing to send, for as long as it likes: a round that brought no reading.
        """
        self.news.clear()
        left_ms = self._spoke_ms + KEEP_ALIVE_S * 1000 // 3 - self._clock.now_ms()
        try:
            await asyncio.wait_for(self.news.wait(), max(0, left_ms) / 1000)
        except asyncio.TimeoutError:
            await link.ping()
            self._spoke_ms = self._clock.now_ms()

    def _time(self, stamp: int, now_ms: int) -> int:
        unix_ms = self._clock.unix_ms(stamp)
        return stamp - now_ms if unix_ms is None else unix_ms

    def _lost(self, count: int) -> list[Fault]:
        """So many readings were lost since a count last arrived, as a fault; none is none."""
        if not count:
            return []
        return [Fault(self._board, f"{count} readings lost: the broker was away for too long")]
