"""The inbox: bounded, with a rule for what goes when it is full."""

from __future__ import annotations

import threading
import time

from hypothesis import given
from hypothesis import strategies as st

from collector.counts import Counts
from collector.frame import Delivery, Frame, Inbox


def frame(source: str, number: int, *, kept: bool = False) -> Frame:
    delivery = Delivery(number, b"", again=False, acknowledge=lambda: None) if kept else None
    return Frame(source, str(number).encode(), 0.0, delivery=delivery)


def inbox(most: int) -> tuple[Inbox, Counts]:
    counts = Counts(lambda: 0)
    return Inbox(most, counts), counts


def drain(box: Inbox) -> list[int]:
    return [int(found.payload) for found in iter(lambda: box.get(0.0), None)]


@given(st.lists(st.booleans(), max_size=30))
def test_frames_come_out_in_their_order(kinds: list[bool]) -> None:
    box, _ = inbox(100)
    for number, kept in enumerate(kinds):
        box.put(frame("s", number, kept=kept))
    assert drain(box) == list(range(len(kinds)))


def test_when_full_the_oldest_that_nobody_keeps_goes_and_is_counted() -> None:
    box, counts = inbox(3)
    box.put(frame("mqtt", 0, kept=True))
    for number in range(1, 6):
        box.put(frame("serial", number))
    assert drain(box) == [0, 4, 5]
    assert counts.tallies()["serial"].dropped == {"queue full": 3}


def test_a_source_gone_mad_takes_no_room_from_the_others() -> None:
    box, counts = inbox(10)
    for number in range(3):
        box.put(frame("serial", number))
    for number in range(3, 100):
        box.put(frame("mqtt", number))
    assert drain(box) == [0, 1, 2, *range(93, 100)]
    assert counts.tallies()["mqtt"].dropped == {"queue full": 90}
    assert "serial" not in counts.tallies()


def test_when_full_of_kept_ones_a_lossy_frame_is_the_one_to_go() -> None:
    box, counts = inbox(2)
    for number in range(2):
        box.put(frame("mqtt", number, kept=True))
    assert not box.put(frame("serial", 9))
    assert drain(box) == [0, 1]
    assert counts.tallies()["serial"].dropped == {"queue full": 1}


def test_kept_ones_leave_room_for_the_others() -> None:
    box, counts = inbox(100)
    stop = threading.Event()
    stop.set()
    assert sum(box.put(frame("mqtt", number, kept=True), stop) for number in range(100)) == 75
    assert all(box.put(frame("serial", number)) for number in range(25))
    assert not counts.tallies()


def test_a_kept_frame_waits_for_room_and_is_never_dropped() -> None:
    box, counts = inbox(2)
    for number in range(2):
        box.put(frame("mqtt", number, kept=True))
    thread = threading.Thread(target=box.put, args=(frame("mqtt", 2, kept=True),))
    thread.start()
    time.sleep(0.05)
    assert len(box) == 2
    first = box.get(0.0)
    thread.join(5)
    assert first is not None
    assert drain(box) == [1, 2]
    assert not counts.tallies()


def test_the_wait_for_room_ends_when_all_ends() -> None:
    box, _ = inbox(1)
    box.put(frame("mqtt", 0, kept=True))
    stop = threading.Event()
    stop.set()
    assert not box.put(frame("mqtt", 1, kept=True), stop)


def test_a_wake_up_ends_a_wait() -> None:
    box, _ = inbox(1)
    threading.Timer(0.05, box.wake).start()
    started_s = time.monotonic()
    assert box.get(30.0) is None
    assert time.monotonic() - started_s < 5.0
