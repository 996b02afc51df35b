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

    When it is full, the oldest frame that nobody else keeps is dropped and counted. Frames with
    a delivery are kept by the broker and are never dropped here: their source waits for room,
    and the broker with it.
    """

    def __init__(self, most: int, counts: Counts) -> None:
        self._most = most
        self._counts = counts
        self._lossy: deque[tuple[int, Frame]] = deque()
        self._kept: deque[tuple[int, Frame]] = deque()
        self._number = 0
        self._woken = False
        self._changed = threading.Condition()

    def __len__(self) -> int:
        return len(self._lossy) + len(self._kept)

    def put(self, frame: Frame, stop: threading.Event | None = None) -> bool:
        """Queue `frame`; False when it had to be dropped, or `stop` came while it waited."""
        with self._changed:
            if not self._make_room(frame, stop):
                return False
            queue = self._lossy if frame.delivery is None else self._kept
            queue.append((self._number, frame))
            self._number += 1
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
            _, frame = self._oldest().popleft()
            self._changed.notify_all()
            return frame

    def wake(self) -> None:
        """Let a waiting `get` return at once."""
        with self._changed:
            self._woken = True
            self._changed.notify_all()

    def _oldest(self) -> deque[tuple[int, Frame]]:
        if not self._kept or (self._lossy and self._lossy[0][0] < self._kept[0][0]):
            return self._lossy
        return self._kept

    def _make_room(self, frame: Frame, stop: threading.Event | None) -> bool:
        while len(self) >= self._most:
            if self._lossy:
                _, dropped = self._lossy.popleft()
                self._counts.drop(dropped.source, "queue full")
            elif frame.delivery is None:
                self._counts.drop(frame.source, "queue full")
                return False
            elif stop is not None and stop.is_set():
                return False
            else:
                self._changed.wait(0.2)
        return True
