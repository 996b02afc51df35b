"""The time of day from a time server: SNTP (RFC 4330 / RFC 5905 §14), one question at a time."""

import os

from . import datagram
from .clock import Clock

PORT = 123
_TIMEOUT_MS = 3000
_TO_1970_S = 2_208_988_800
_RELEASED_MS = 1_767_225_600_000
"""2026-01-01: a server that says less does not know either."""


class NoTime(Exception):
    """The server gave no time that can be used; the text says why."""


def request(mark: bytes) -> bytes:
    """A question (version 4, mode 3: client). `mark` is eight bytes that come back."""
    return b"\x23" + bytes(39) + mark


def answer_ms(answer: bytes, mark: bytes) -> tuple[int, int]:
    """UTC ms at which the question arrived and the answer left. Raises NoTime.

    Sent times are marks, not times: who does not know the mark cannot set the clock.
    """
    if len(answer) < 48 or answer[0] & 7 != 4 or answer[24:32] != mark:
        raise NoTime("not an answer to this question")
    if answer[0] >> 6 == 3 or not 1 <= answer[1] <= 15:
        raise NoTime("the server does not know the time itself")
    if answer[40:48] == bytes(8):
        raise NoTime("the server gave no time")
    arrived_ms, left_ms = _ms(answer[32:40]), _ms(answer[40:48])
    if left_ms < _RELEASED_MS:
        raise NoTime("the server's time is long past")
    return arrived_ms, left_ms


def _ms(stamp: bytes) -> int:
    seconds = int.from_bytes(stamp[:4], "big")
    if seconds < 1 << 31:
        seconds += 1 << 32  # the era that begins in 2036
    return (seconds - _TO_1970_S) * 1000 + (int.from_bytes(stamp[4:8], "big") * 1000 >> 32)


async def set_clock(clock: Clock, host: str, port: int) -> None:
    """Ask the time server at an address in digits, and set the clock. Raises OSError or NoTime."""
    mark = os.urandom(8)
    asked_ms = clock.now_ms()
    answer = await datagram.ask(
        host, port, request(mark), lambda said: said[24:32] == mark, _TIMEOUT_MS
    )
    now_ms = clock.now_ms()
    if not answer:
        raise NoTime("no answer")
    arrived_ms, left_ms = answer_ms(answer, mark)
    took_ms = now_ms - asked_ms
    # Servers that say nonsense of when the question arrived are there: the way has its bounds.
    on_the_way_ms = max(0, min(took_ms - (left_ms - arrived_ms), took_ms))
    if not clock.set(left_ms + on_the_way_ms // 2, now_ms):
        raise NoTime("far from what this clock says; believed if it is said again")
