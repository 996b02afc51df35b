"""What the service manager is told: ready, alive, stopping. Without one, nothing."""

from __future__ import annotations

import os

from sdnotify import SystemdNotifier


class ServiceManager:
    """sd_notify(3), where systemd has asked for it."""

    def __init__(self) -> None:
        # The notifier leaves an open socket behind when there is no one to talk to.
        self._notifier = SystemdNotifier() if os.environ.get("NOTIFY_SOCKET") else None
        self._ready = False

    def ready(self) -> None:
        """The watch has judged for the first time."""
        if not self._ready:
            self._ready = True
            self._tell("READY=1")

    def alive(self) -> None:
        """The watch goes on judging (WatchdogSec)."""
        self._tell("WATCHDOG=1")

    def stopping(self) -> None:
        """The watch ends as it was asked to."""
        self._tell("STOPPING=1")

    def _tell(self, state: str) -> None:
        if self._notifier is not None:
            self._notifier.notify(state)
