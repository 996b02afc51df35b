"""When the clock is believed, stamps, and waits."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.backoff import Backoff
from collector.clock import RELEASED_MS, Clock, Stamps, kernel_clock_synchronised
from collector.readings import Quantity, SeriesKey

KEY = SeriesKey("p", Quantity.TEMPERATURE)
NOW_MS = RELEASED_MS + 10**10


class Hands:
    """A clock to be set by hand."""

    def __init__(self, now_ms: int = NOW_MS) -> None:
        self.ms = now_ms
        self.s = 100.0
        self.right = False

    def clock(self, *, wait: bool = False, newest_ms: int | None = None) -> Clock:
        return Clock(wait, newest_ms, lambda: self.ms, lambda: self.s, lambda: self.right)


def test_a_plain_clock_is_believed() -> None:
    assert Hands().clock().sure()


@pytest.mark.parametrize("right", [False, True])
def test_before_the_release_it_is_never_believed(right: bool) -> None:
    hands = Hands(RELEASED_MS - 1)
    hands.right = right
    clock = hands.clock()
    assert not clock.sure()
    hands.ms = RELEASED_MS
    assert clock.sure()


def test_before_the_newest_reading_it_is_not_believed() -> None:
    hands = Hands()
    clock = hands.clock(newest_ms=NOW_MS + 1)
    assert not clock.sure()
    hands.ms += 1
    assert clock.sure()


def test_one_reading_from_the_future_does_not_stop_a_clock_that_is_kept_right() -> None:
    hands = Hands()
    hands.right = True
    assert hands.clock(newest_ms=NOW_MS + 10**9).sure()


def test_waiting_for_the_kernel() -> None:
    hands = Hands()
    clock = hands.clock(wait=True)
    assert not clock.sure()
    hands.right = True
    assert clock.sure()
    hands.right = False
    assert clock.sure()  # it was set; it does not become wrong again


def test_an_instant_is_dated_by_what_the_clock_says_now() -> None:
    hands = Hands(1_000)
    clock = hands.clock()
    taken_s = hands.s
    hands.s += 42.5
    hands.ms = NOW_MS  # set in between
    assert clock.ms_at(taken_s) == NOW_MS - 42_500


def test_the_kernel_answers() -> None:
    assert kernel_clock_synchronised() in (True, False)


@given(st.lists(st.integers(0, 20), max_size=60))
def test_stamps_of_one_series_are_all_different(steps: list[int]) -> None:
    stamps, at_ms, given_ms = Stamps(), NOW_MS, []
    for step in steps:
        at_ms += step
        given_ms.append(stamps.stamp(KEY, at_ms))
    assert len(set(given_ms)) == len(given_ms)
    assert given_ms == sorted(given_ms)


def test_a_clock_that_was_set_back_is_followed() -> None:
    stamps = Stamps()
    assert stamps.stamp(KEY, NOW_MS) == NOW_MS
    assert stamps.stamp(KEY, NOW_MS) == NOW_MS + 1
    assert stamps.stamp(KEY, NOW_MS - 3_600_000) == NOW_MS - 3_600_000
    assert stamps.stamp(SeriesKey("q", Quantity.TEMPERATURE), NOW_MS) == NOW_MS


@given(st.floats(0.01, 5), st.floats(1, 100), st.integers(1, 30), st.floats(0, 1))
def test_waits_grow_and_are_bounded(first: float, factor: float, tries: int, chance: float) -> None:
    backoff = Backoff(first, first * factor, chance=lambda: chance)
    waits = [backoff.next_s() for _ in range(tries)]
    assert all(first * 0.5 <= wait <= first * factor for wait in waits)
    assert waits == sorted(waits)
    backoff.reset()
    assert backoff.next_s() == waits[0]


def test_waits_by_hand() -> None:
    backoff = Backoff(1.0, 5.0, chance=lambda: 0.0)
    assert [backoff.next_s() for _ in range(5)] == [1, 2, 4, 5, 5]
    with pytest.raises(ValueError, match="make no sense"):
        Backoff(2.0, 1.0)
