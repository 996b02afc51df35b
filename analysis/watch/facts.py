"""What the watch knows of the monitor itself: the collector's own account, the card, the clock."""

from __future__ import annotations

import json
import os
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from analysis.watch.rules_snapshot import Series, SourceState
from analysis.watch.states import HOUR_MS, AlarmKey, Kind
from collector.rfc3339 import parse
from config.home import Home

_CARD_EVERY_MS = HOUR_MS // 2
_CARD_SAMPLES = 48
_LEAST_TREND_MS = 6 * HOUR_MS


@dataclass(frozen=True, slots=True)
class Account:
    """The collector's `collector.json`. `ended`: its process is gone; None: not known."""

    sources: tuple[SourceState, ...] | None = None
    store: str = "written"
    held: int = 0
    ended: bool | None = None


class Facts:
    """Looks at the monitor itself, cheaply, once a cycle."""

    def __init__(self, home: Home, room_mb: Callable[[Path], float] | None = None) -> None:
        self._home = home
        self._room_mb = room_mb or room_on_card_mb
        self._mark: tuple[int, int] | None = None
        self._account = Account()
        self._pid: int | None = None
        self._free: deque[tuple[int, float]] = deque(maxlen=_CARD_SAMPLES)

    def account(self) -> Account:
        """What the collector says of itself; nothing where there is no such file."""
        path = self._home.collector_state
        try:
            seen = path.stat()
            mark = (seen.st_ino, seen.st_mtime_ns)
            if mark != self._mark:
                self._pid, self._account = _parsed(path.read_text("utf-8"))
                self._mark = mark
        except (OSError, ValueError):
            self._pid, self._account, self._mark = None, Account(), None
        ended = None if self._pid is None else not _alive(self._pid)
        one = self._account
        return Account(one.sources, one.store, one.held, ended)

    def free_mb(self, now_ms: int) -> float:
        """Room on the home's file system, in MB (10^6 bytes) that this process may use."""
        free_mb = self._room_mb(self._home.folder)
        if not self._free or now_ms - self._free[-1][0] >= _CARD_EVERY_MS:
            self._free.append((now_ms, free_mb))
        return free_mb

    def hours_to_full(self) -> float | None:
        """At the pace of the last hours; None before it can be said, or when it does not fill."""
        if len(self._free) < 2 or self._free[-1][0] - self._free[0][0] < _LEAST_TREND_MS:
            return None
        (first_ms, first_mb), (last_ms, last_mb) = self._free[0], self._free[-1]
        if last_mb >= first_mb:
            return None
        return last_mb / (first_mb - last_mb) * (last_ms - first_ms) / HOUR_MS

    def series(self, account: Account, *, clock_sure: bool, now_ms: int) -> list[Series]:
        """The home's own values, each at this moment."""
        unsure = float(account.held > 0 or not clock_sure)
        unwritten = float(account.store != "written" and account.ended is False)
        return [
            Series(AlarmKey(Kind.CARD_FILLING), [(now_ms, self.free_mb(now_ms))]),
            Series(AlarmKey(Kind.CLOCK_UNSURE), [(now_ms, unsure)]),
            Series(AlarmKey(Kind.NOT_WRITTEN), [(now_ms, unwritten)]),
        ]


def room_on_card_mb(folder: Path) -> float:
    """Free for this process on the file system that holds `folder`, in MB (10^6 bytes)."""
    room = os.statvfs(folder)
    return room.f_bavail * room.f_frsize / 1e6


def _parsed(text: str) -> tuple[int | None, Account]:
    """Raises ValueError when it is not the collector's file."""
    said = json.loads(text)
    if not isinstance(said, dict) or not isinstance(said.get("sources"), dict):
        raise ValueError("not the collector's account")  # noqa: TRY004  # a file, not an argument
    sources = tuple(
        SourceState(name, bool(one.get("connected")), parse(one["since"]))
        for name, one in said["sources"].items()
        if isinstance(one, dict) and isinstance(one.get("since"), str)
    )
    pid, held = said.get("pid"), said.get("held")
    return (
        pid if isinstance(pid, int) and pid > 0 else None,
        Account(sources, str(said.get("store")), held if isinstance(held, int) else 0),
    )


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
