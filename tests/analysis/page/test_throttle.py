"""Throttled log-in: the laws of waiting, and its bound."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from analysis.page.access.passphrase import PassphraseFile
from analysis.page.access.throttle import (
    FORGET_S,
    FREE_FOR_ALL,
    FREE_TRIES,
    LONGEST_WAIT_S,
    MOST_ADDRESSES,
    WAIT_FOR_ALL_S,
    Throttle,
)
from config.home import Home
from tests.analysis.page.conftest import Asks, Clock
from tests.analysis.page.forms import come_in

HOME_V4 = "192.168.7.20"


def tries_until_it_waits(throttle: Throttle, address: str) -> int:
    count = 0
    while throttle.wait_s(address) <= 0:
        count += 1
        assert count < 1000
    return count


def test_a_stranger_waits_longer_and_longer(clock: Clock) -> None:
    throttle = Throttle(clock.monotonic)
    assert tries_until_it_waits(throttle, HOME_V4) == FREE_TRIES
    waits = []
    for _ in range(12):
        waits.append(throttle.wait_s(HOME_V4))
        clock.past_s += waits[-1]
        assert throttle.wait_s(HOME_V4) == 0
    assert waits == sorted(waits)
    assert waits[-1] == LONGEST_WAIT_S


def test_another_address_does_not_wait(clock: Clock) -> None:
    throttle = Throttle(clock.monotonic)
    tries_until_it_waits(throttle, HOME_V4)
    assert throttle.wait_s("192.168.7.21") == 0


def test_asking_while_waiting_does_not_lengthen_the_wait(clock: Clock) -> None:
    throttle = Throttle(clock.monotonic)
    tries_until_it_waits(throttle, HOME_V4)
    first = throttle.wait_s(HOME_V4)
    for _ in range(50):
        assert throttle.wait_s(HOME_V4) == first


def test_the_right_one_wipes_the_slate(clock: Clock) -> None:
    throttle = Throttle(clock.monotonic)
    for _ in range(100):
        assert throttle.wait_s(HOME_V4) == 0
        throttle.was_right(HOME_V4)


def test_what_is_long_ago_is_forgotten(clock: Clock) -> None:
    throttle = Throttle(clock.monotonic)
    tries_until_it_waits(throttle, HOME_V4)
    clock.past_s += FORGET_S + 1
    assert tries_until_it_waits(throttle, HOME_V4) == FREE_TRIES


def test_many_addresses_together_wait_and_nobody_is_locked_out(clock: Clock) -> None:
    throttle = Throttle(clock.monotonic)
    passed = sum(throttle.wait_s(f"10.0.{i // 250}.{i % 250}") <= 0 for i in range(2000))
    assert passed == FREE_FOR_ALL
    clock.past_s += WAIT_FOR_ALL_S
    assert throttle.wait_s(HOME_V4) == 0, "after a few seconds the keeper gets a turn"


def test_a_household_is_one_address(clock: Clock) -> None:
    """RFC 4291 §2.5.4 and RFC 6177: a household has all of a /64."""
    throttle = Throttle(clock.monotonic)
    passed = sum(throttle.wait_s(f"2001:db8:1:2::{i:x}") <= 0 for i in range(1, 100))
    assert passed == FREE_TRIES
    assert throttle.wait_s("2001:db8:1:3::1") == 0
    assert throttle.wait_s(f"::ffff:{HOME_V4}") == 0
    assert len(throttle) == 3


@given(st.lists(st.ip_addresses().map(str) | st.text(max_size=20), max_size=50))
def test_memory_is_bounded_whatever_asks(addresses: list[str]) -> None:
    throttle = Throttle(Clock().monotonic)
    for i in range(MOST_ADDRESSES + 100):
        throttle.wait_s(f"10.{i // 60_000}.{i // 250 % 250}.{i % 250}")
    for address in addresses:
        throttle.wait_s(address)
    assert len(throttle) == MOST_ADDRESSES


def test_at_the_door(home: Home, asks: Asks, clock: Clock) -> None:
    PassphraseFile(home.folder).set("four warm sleeping coils")
    browser = asks(home)
    statuses = [come_in(browser, "a wrong phrase") for _ in range(FREE_TRIES + 1)]
    assert statuses == [403] * FREE_TRIES + [429]
    assert come_in(browser, "four warm sleeping coils") == 429, "also the right one waits"
    clock.past_s += LONGEST_WAIT_S
    assert come_in(browser, "four warm sleeping coils") == 303
