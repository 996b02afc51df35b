"""A frame: bytes as they arrived, and where they came from. And the one queue for all of them."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from collector.counts import Counts


@dataclass(frozen=True, slots=True)
class Delivery:
    """That someone waits for our word: a message the broker keeps until it is acknowledged.

    `again` is the broker's mark that it may have delivered this one before. `digest` tells it
    from another message that was given the same `mid`.
    """

    mid: int
    digest: bytes
    again: bool
    acknowledge: Callable[[], None]


@dataclass(frozen=True, slots=True)
class Frame:
    """Bytes of one message, line or file. `arrived_s` is on the monotonic clock.

    `label` is the MQTT topic or the device. `stale` means that it is an old message that was kept
    for newcomers: it says nothing about now.
    """

    source: str
    payload: bytes
    arrived_s: float
    label: str = ""
    delivery: Delivery | None = None
    stale: bool = False


class Inbox:
    """The bounded queue between the sources' threads and the pipeline.

    When it is full, the oldest frame that nobody else keeps goes, of the source that has the most
    of them here, and is counted: so a source gone mad takes no room from the others. Frames with
    a delivery are kept by the broker and are never dropped here: their source waits for room,
    and the broker with it. They take three quarters of it at most: a broker may send more than it
    was asked to have in flight (mosquitto 2.0.11 does when flooded).
    """

    def __init__(self, most: int, counts: Counts) -> None:
        self._most = most
        self._counts = counts
        self._lossy: dict[str, deque[tuple[int, Frame]]] = {}  # by source: a few
        self._kept: deque[tuple[int, Frame]] = deque()
        self._number = self._waiting = 0
        self._woken = False
        self._changed = threading.Condition()

    def __len__(self) -> int:
        return self._waiting

    def put(self, frame: Frame, stop: threading.Event | None = None) -> bool:
        """Queue `frame`; False when it had to be dropped, or `stop` came while it waited."""
        with self._changed:
            if not self._make_room(frame, stop):
                return False
            self._line_of(frame).append((self._number, frame))
            self._number += 1
            self._waiting += 1
            self._changed.notify_all()
            return True

    def get(self, timeout_s: float) -> Frame | None:
        """The oldest frame; None after `timeout_s` without one, or when woken."""
        with self._changed:
            if not self and not self._woken:
                self._changed.wait(timeout_s)
            self._woken = False
            if not self:
                return None
            lines = [line for line in (self._kept, *self._lossy.values()) if line]
            frame = self._next_of(min(lines, key=lambda line: line[0][0]))
            self._changed.notify_all()
            return frame

    def wake(self) -> None:
        """Let a waiting `get` return at once."""
        with self._changed:
            self._woken = True
            self._changed.notify_all()

    def _line_of(self, frame: Frame) -> deque[tuple[int, Frame]]:
        if frame.delivery is not None:
            return self._kept
        return self._lossy.setdefault(frame.source, deque())

    def _next_of(self, line: deque[tuple[int, Frame]]) -> Frame:
        self._waiting -= 1
        return line.popleft()[1]

    def _is_full_for(self, frame: Frame) -> bool:
        too_many_kept = len(self._kept) >= self._most - self._most // 4
        return len(self) >= self._most or (frame.delivery is not None and too_many_kept)

    def _make_room(self, frame: Frame, stop: threading.Event | None) -> bool:
        while self._is_full_for(frame):
            if len(self) >= self._most and (
                longest := max(self._lossy.values(), key=len, default=None)
            ):
                self._counts.drop(self._next_of(longest).source, "queue full")
            elif frame.delivery is None:
                self._counts.drop(frame.source, "queue full")
                return False
            elif stop is not None and stop.is_set():
                return False
            else:
                self._changed.wait(0.2)
        return True
