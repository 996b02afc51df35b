"""The board of the simulated year: the collector's account of itself, its journal, its card.

What a dead collector, a lost broker or line, a card that cannot be written or fills, and a clock
that is not known to be right look like from the watch. The account is the collector's real file
with its real fields; readings that cannot be kept yet wait, as they do in the collector.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field

from collector.readings import Reading
from collector.rfc3339 import written
from collector.store.journal import Journal
from config.home import Home
from tests.campaigns.keepers_room import Room

ALIVE_PID = 1
"""A process that lives as long as the machine."""
NO_PID = 2**22 + 1
"""One more than Linux ever gives (PID_MAX_LIMIT, include/linux/threads.h): no process has it."""
PLENTY_MB, LITTLE_MB = 5_000.0, 500.0
LINE, BROKER = "serial /dev/ttyUSB0", "mqtt localhost:1883"


@dataclass
class Board:
    """Between the room and the files."""

    home: Home
    journal: Journal
    free_mb: float = PLENTY_MB
    _waiting: list[Reading] = field(default_factory=list)
    _since_ms: dict[str, tuple[bool, int]] = field(default_factory=dict)
    _said: str = ""

    def take(self, room: Room, minute: int, now_ms: int) -> None:
        """One minute of collecting."""
        self.free_mb = LITTLE_MB if room.going_on("card filling") else PLENTY_MB
        self._waiting += room.readings(minute)
        unsure, unwritten = room.going_on("clock unsure"), room.going_on("not written")
        if not unsure and not unwritten:
            self.journal.commit(self._waiting)
            self._waiting = []
        account = {
            "pid": NO_PID if room.going_on("collector dead") else ALIVE_PID,
            "store": "waiting for room" if unwritten else "written",
            "held": len(self._waiting) if unsure else 0,
            "sources": {
                LINE: self._source(LINE, not room.going_on("line away"), now_ms),
                BROKER: self._source(BROKER, not room.going_on("broker away"), now_ms),
            },
        }
        said = json.dumps(account)
        if said != self._said:
            self.home.collector_state.write_text(said, "utf-8")
            self._said = said

    def _source(self, name: str, connected: bool, now_ms: int) -> dict[str, object]:
        if name not in self._since_ms or self._since_ms[name][0] != connected:
            self._since_ms[name] = (connected, now_ms)
        return {"connected": connected, "since": written(self._since_ms[name][1])}
