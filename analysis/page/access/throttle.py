"""Throttled log-in: wrong pass phrases cost time, for each address and for all together.

Bounded: at most MOST_ADDRESSES are remembered, the one used longest ago is forgotten first. An
IPv6 address counts by its /64, which one household has all of.
"""

from __future__ import annotations

import ipaddress
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

FREE_TRIES = 5
"""Wrong ones of an address before it has to wait."""
FIRST_WAIT_S = 2.0
LONGEST_WAIT_S = 300.0
FREE_FOR_ALL = 40
"""Wrong ones of all addresses within FORGET_S before everyone has to wait."""
WAIT_FOR_ALL_S = 5.0
FORGET_S = 900.0
"""Without a wrong one for so long, what was before is forgotten (all figures: our own choice)."""
MOST_ADDRESSES = 512


@dataclass(slots=True)
class _Count:
    wrong: int = 0
    last_s: float = 0.0
    free_at_s: float = 0.0


class Throttle:
    """Counts wrong pass phrases. A try counts as wrong until it was right."""

    def __init__(self, monotonic: Callable[[], float]) -> None:
        self._monotonic = monotonic
        self._lock = threading.Lock()
        self._addresses: OrderedDict[str, _Count] = OrderedDict()
        self._all = _Count()

    def __len__(self) -> int:
        """How many addresses are remembered."""
        return len(self._addresses)

    def wait_s(self, address: str) -> float:
        """Begin a try: 0 when it may go on, else for how long to wait, and it is not one."""
        now_s, name = self._monotonic(), _household(address)
        with self._lock:
            mine = self._addresses.pop(name, _Count())
            self._addresses[name] = mine
            while len(self._addresses) > MOST_ADDRESSES:
                self._addresses.popitem(last=False)
            wait_s = max(_wait_of(mine, now_s), _wait_of(self._all, now_s))
            if wait_s <= 0:
                _count(mine, now_s, FREE_TRIES, FIRST_WAIT_S, LONGEST_WAIT_S)
                # Does not grow: or else a stranger could keep the keeper out.
                _count(self._all, now_s, FREE_FOR_ALL, WAIT_FOR_ALL_S, WAIT_FOR_ALL_S)
            return wait_s

    def was_right(self, address: str) -> None:
        """The try that was begun had the right pass phrase."""
        with self._lock:
            self._addresses.pop(_household(address), None)
            self._all.wrong = max(0, self._all.wrong - 1)
            if self._all.wrong <= FREE_FOR_ALL:
                self._all.free_at_s = 0.0


def _wait_of(count: _Count, now_s: float) -> float:
    if now_s - count.last_s > FORGET_S:
        count.wrong, count.free_at_s = 0, 0.0
    return max(0.0, count.free_at_s - now_s)


def _count(count: _Count, now_s: float, free: int, first_s: float, longest_s: float) -> None:
    count.wrong += 1
    count.last_s = now_s
    over = count.wrong - free
    if over >= 0:
        count.free_at_s = now_s + min(first_s * 2.0 ** min(over, 30), longest_s)


def _household(address: str) -> str:
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return "unknown"
    if isinstance(found, ipaddress.IPv6Address):
        if found.ipv4_mapped is not None:
            return str(found.ipv4_mapped)
        return str(ipaddress.ip_network((found, 64), strict=False))
    return str(found)
