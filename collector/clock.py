"""What time it is, and whether to believe it.

Boards without a clock chip wake in the past and learn the time from the network a minute later.
Until the clock is sure, readings without a time of their own are held; the monotonic clock, which
never jumps, then says how long ago each was taken.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field

from collector.readings import SeriesKey

DAY_MS = 86_400_000
RELEASED_MS = 1_767_225_600_000
"""2026-01-01T00:00Z: no reading was taken by this program before the year it was released."""

_CROWD_MS = 10_000
"""A burst of readings of one series (a broker hands over what waited) is spread 1 ms apart, by
10 s at most: further back is not a burst but a clock that was set back."""
_MOST_SERIES = 4096


def wall_clock_ms() -> int:
    """UTC in ms since 1970, as the operating system has it."""
    return time.time_ns() // 1_000_000


def kernel_clock_synchronised() -> bool:
    """True when the kernel says that something (NTP, GPS) keeps its clock right.

    Linux: adjtimex(2), without STA_UNSYNC and not TIME_ERROR. Elsewhere False: not known.
    """
    # Only boards that ask for it pay for ctypes.
    import ctypes  # noqa: PLC0415

    buffer = ctypes.create_string_buffer(512)  # struct timex, modes 0 (read only), and room
    try:
        state: int = ctypes.CDLL(None, use_errno=True).adjtimex(buffer)
    except (AttributeError, OSError):
        return False
    # struct timex: modes (padded to a long), offset, freq, maxerror, esterror, then status.
    status = ctypes.c_int.from_buffer(buffer, 5 * ctypes.sizeof(ctypes.c_long)).value
    return state not in (-1, _TIME_ERROR) and not status & _STA_UNSYNC


_TIME_ERROR = 5
_STA_UNSYNC = 0x0040


@dataclass(slots=True)
class Clock:
    """The wall clock with its doubts. Waiting is done on `monotonic`.

    It is not sure before the year of release. A clock that the kernel calls synchronised is sure
    from then on; without that it is not where the settings say to wait for it, and not while it
    is before the newest reading already kept (`newest_ms`).
    """

    wait_for_clock: bool = False
    newest_ms: int | None = None
    now_ms: Callable[[], int] = wall_clock_ms
    monotonic: Callable[[], float] = time.monotonic
    synchronised: Callable[[], bool] = kernel_clock_synchronised
    _sure: bool = field(default=False, init=False)

    def sure(self) -> bool:
        """True when the time can be believed; once it is, it stays so."""
        if not self._sure:
            self._sure = self._find_out()
        return self._sure

    def ms_at(self, instant_s: float) -> int:
        """UTC in ms of an instant of the monotonic clock, by what the wall clock says now."""
        return self.now_ms() - round((self.monotonic() - instant_s) * 1000.0)

    def _find_out(self) -> bool:
        now_ms = self.now_ms()
        if now_ms < RELEASED_MS:
            return False
        before_newest = self.newest_ms is not None and now_ms < self.newest_ms
        return not (self.wait_for_clock or before_newest) or self.synchronised()


class Stamps:
    """Gives readings without a time one that no other reading of their series has.

    A reading is known by its series and its millisecond; two that arrive in the same one are
    still two.
    """

    def __init__(self) -> None:
        self._last_ms: dict[SeriesKey, int] = {}

    def stamp(self, key: SeriesKey, at_ms: int) -> int:
        """`at_ms`, or the first free ms after the last stamp where that is just ahead of it."""
        last_ms = self._last_ms.pop(key, None)
        if last_ms is not None and last_ms - _CROWD_MS < at_ms <= last_ms:
            at_ms = last_ms + 1
        self._last_ms[key] = at_ms
        if len(self._last_ms) > _MOST_SERIES:
            del self._last_ms[next(iter(self._last_ms))]  # the one stamped longest ago
        return at_ms
