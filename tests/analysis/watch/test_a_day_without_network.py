"""A day without network, and then everything arrives, in order, once: a real endpoint, through
the delivery's own way, with the clock moved by hand."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from analysis.watch.addresses import Address
from analysis.watch.alarm_file import open_alarms
from analysis.watch.alarm_store import AlarmStore
from analysis.watch.deliver import deliver
from analysis.watch.outbox import MOST_WAIT_MS, Message, Urgency
from analysis.watch.sender import quieten, sender_of
from analysis.watch.states import HOUR_MS, MINUTE_MS, AlarmKey, Kind
from tests.analysis.watch.endpoint import Endpoint

# apprise's plug-ins load what Python means to take away; the delivery ignores that, too.
pytestmark = pytest.mark.filterwarnings("ignore")
START_MS = 1_900_000_000_000


def test_after_a_day_all_is_delivered_in_order_and_once(tmp_path: Path) -> None:
    alarms, stop = tmp_path / "alarms.db", threading.Event()
    quieten()
    with Endpoint() as endpoint:
        address = Address(endpoint.url, "watch.notify[1] (json)")
        sender = sender_of(address)
        assert sender is not None
        endpoint.answer = lambda _: 503
        sent: list[str] = []
        now_ms = START_MS
        with AlarmStore(alarms) as store:
            while now_ms < START_MS + 24 * HOUR_MS:
                if (now_ms - START_MS) % HOUR_MS == 0:
                    number = len(sent)
                    key = AlarmKey(Kind.WARM_SIDE_LOW, f"E{number % 5}")
                    message = Message(f"m{number}", key, Urgency.HIGH, "t", f"Message m{number}")
                    store.record([], [message], [address.digest], now_ms)
                    sent.append(message.reference)
                if store.something_due([address.digest], now_ms):
                    deliver(alarms, [sender], 10_000, stop, lambda: now_ms)  # noqa: B023  # now
                now_ms += 5 * MINUTE_MS
            tried = endpoint.requests
            assert endpoint.arrivals == []
            endpoint.answer = lambda _: 200
            now_ms += MOST_WAIT_MS
            deliver(alarms, [sender], 10_000, stop, lambda: now_ms)
            assert [one.reference for one in endpoint.arrivals] == sent
            assert endpoint.requests == tried + len(sent)
            assert not store.something_due([address.digest], now_ms + 24 * HOUR_MS)
    open_alarms(alarms).close()
