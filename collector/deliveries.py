"""Messages a broker waits to hear about: acknowledged after the commit, in order, and known again.

A message whose acknowledgement was lost with the connection or the process comes again. If it
carries its own time, the store knows it by that. If not, it is known by its receipt: the id the
broker gave it and a digest of what it said.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass

from collector.frame import Delivery
from collector.store.journal import Receipt

REMEMBERED = 2000
"""Receipts kept in memory. Acknowledgements are sent in order, so only the last ones can have
been lost: as many as the broker has in flight, which we limit (`mqtt_client.IN_FLIGHT`) and
mosquitto, when flooded, may pass."""


@dataclass(slots=True)
class Ticket:
    """Whether what a delivery brought is safe (or was rightly dropped)."""

    done: bool = False


class Deliveries:
    """The messages not yet acknowledged, and the receipts of those that may come again."""

    def __init__(self, stored: Iterable[Receipt] = ()) -> None:
        self._stored = set(stored)
        self._known: dict[tuple[str, int], tuple[bytes, Ticket]] = {}
        self._owed: deque[tuple[Delivery, Ticket]] = deque()

    def __len__(self) -> int:
        """Messages that wait for their acknowledgement."""
        return len(self._owed)

    def again(self, source: str, delivery: Delivery) -> bool:
        """True when this is a message that was taken before; it is acknowledged with that one."""
        if not delivery.again:
            return False
        digest, ticket = self._known.get((source, delivery.mid), (b"", Ticket(done=True)))
        receipt = Receipt(source, delivery.mid, delivery.digest)
        if digest != delivery.digest and receipt not in self._stored:
            return False
        self._owed.append((delivery, ticket))
        self.settle()
        return True

    def open(self, source: str, delivery: Delivery) -> Ticket:
        """A new message: acknowledged once its ticket is done and all before it are."""
        ticket = Ticket()
        self._owed.append((delivery, ticket))
        # The broker uses an id anew only after it was acknowledged: the older one is settled.
        self._known.pop((source, delivery.mid), None)
        self._known[source, delivery.mid] = (delivery.digest, ticket)
        if len(self._known) > REMEMBERED:
            del self._known[next(iter(self._known))]
        return ticket

    def settle(self) -> None:
        """Acknowledge what is done, in the order of arrival (MQTT 5 §4.6)."""
        while self._owed and self._owed[0][1].done:
            self._owed.popleft()[0].acknowledge()
