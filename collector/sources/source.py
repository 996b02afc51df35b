"""What every source is: something that runs in a thread of its own and queues frames."""

from __future__ import annotations

import threading
from typing import Protocol


class Source(Protocol):
    """A place where frames come from. It reconnects on its own and ends when told to."""

    @property
    def name(self) -> str:
        """As it is counted and named in the log."""
        ...

    def run(self, stop: threading.Event) -> None:
        """Queue frames until `stop`. Returns within about a second of it."""
        ...
