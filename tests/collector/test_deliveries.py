"""Acknowledgements in order, and what is remembered of a message."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from collector import deliveries as room
from collector.deliveries import Deliveries
from collector.frame import Delivery
from collector.store.journal import Receipt


def test_acknowledged_in_the_order_of_arrival() -> None:
    # MQTT 5 §4.6: PUBACKs in the order in which the PUBLISH packets came (from memory).
    heard: list[int] = []
    deliveries = Deliveries()
    tickets = [deliveries.open("mqtt", message(mid, heard)) for mid in range(4)]
    for ticket in (tickets[1], tickets[2]):
        ticket.done = True
        deliveries.settle()
    assert heard == []
    tickets[0].done = True
    deliveries.settle()
    assert heard == [0, 1, 2]
    assert len(deliveries) == 1


@given(st.permutations(range(8)))
def test_whatever_is_done_first_the_order_stays(order: list[int]) -> None:
    heard: list[int] = []
    deliveries = Deliveries()
    tickets = [deliveries.open("mqtt", message(mid, heard)) for mid in range(8)]
    for mid in order:
        tickets[mid].done = True
        deliveries.settle()
        assert heard == list(range(len(heard)))
    assert heard == list(range(8))


def test_an_id_that_is_used_anew_forgets_the_old_message() -> None:
    heard: list[int] = []
    deliveries = Deliveries()
    deliveries.open("mqtt", message(1, heard, b"old")).done = True
    deliveries.open("mqtt", message(1, heard, b"new")).done = True
    assert not deliveries.again("mqtt", message(1, heard, b"old", again=True))
    assert deliveries.again("mqtt", message(1, heard, b"new", again=True))
    assert not deliveries.again("mqtt", message(1, heard, b"new", again=False))


def test_a_stored_receipt_is_known_and_memory_is_bounded() -> None:
    heard: list[int] = []
    deliveries = Deliveries({Receipt("mqtt", 9, b"x")})
    assert deliveries.again("mqtt", message(9, heard, b"x", again=True))
    assert not deliveries.again("mqtt", message(9, heard, b"y", again=True))
    for mid in range(room.REMEMBERED + 100):
        deliveries.open("mqtt", message(mid, heard))
    assert len(deliveries._known) == room.REMEMBERED


def message(mid: int, heard: list[int], digest: bytes = b"", *, again: bool = False) -> Delivery:
    return Delivery(mid, digest, again, lambda: heard.append(mid))
