"""Which faults are to be said: a new one at once, a lasting one every ten minutes."""

from .words import Fault

SAY_AGAIN_MS = 600_000
MOST = 64
"""Faults kept in mind at once."""


class Faults:
    """What is wrong now, and when it was said last. What is not seen again is over."""

    def __init__(self) -> None:
        self._now: dict[str, tuple[str, int | None]] = {}

    def see(self, faults: list[Fault]) -> None:
        """All that is wrong after one round over the sensors."""
        before, self._now = self._now, {}
        for fault in faults[:MOST]:
            text, said_ms = before.get(fault.probe, ("", None))
            self._now[fault.probe] = (fault.text, said_ms if text == fault.text else None)

    def due(self, now_ms: int) -> list[Fault]:
        """What is to be said now."""
        found = []
        for probe, (text, said_ms) in self._now.items():
            if said_ms is None or now_ms - said_ms >= SAY_AGAIN_MS:
                found.append(Fault(probe, text))
        return found

    def said(self, faults: list[Fault], now_ms: int) -> None:
        """These have arrived."""
        for fault in faults:
            text, _ = self._now.get(fault.probe, ("", None))
            if text == fault.text:
                self._now[fault.probe] = (text, now_ms)
