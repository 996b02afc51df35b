"""What every source is: something that runs in a thread of its own and queues frames."""

from __future__ import annotations

import threading
from typing import ClassVar, Protocol


class Source(Protocol):
    """A place where frames come from. It reconnects on its own and ends when told to."""

    ends_last: ClassVar[bool] = False
    """True when it is still needed after the last commit, to acknowledge what was committed."""

    @property
    def name(self) -> str:
        """As it is counted and named in the log."""

    def run(self, stop: threading.Event) -> None:
        """Queue frames until `stop`. Returns within about a second of it."""

    def wake(self) -> None:
        """`stop` was set, or there is something to acknowledge."""
        return
