"""What goes out beside the messages: each enclosure's state to the broker, and a heartbeat."""

from __future__ import annotations

from analysis.watch.enclosure_state import EnclosureStates
from analysis.watch.heartbeat import Heartbeat
from analysis.watch.herald import Herald
from analysis.watch.watcher import Watcher
from config.home import Home
from config.settings import Settings


class Outside:
    """Told after each evaluation that succeeded. Nothing here is waited for."""

    def __init__(self, home: Home, settings: Settings) -> None:
        watch = settings.watch
        publishes = settings.mqtt.host is not None and watch.publish_state
        self._herald = Herald(home.folder) if publishes else None
        self._states = EnclosureStates()
        beats = watch.heartbeat_file is not None
        self._heartbeat = Heartbeat(home.folder, watch.heartbeat_minutes * 60.0) if beats else None

    def tell(self, watcher: Watcher, now_ms: int) -> None:
        """What is due."""
        snapshot = watcher.snapshot
        if snapshot is None:
            return
        if self._herald is not None and not self._herald.tell(
            self._states.due(snapshot, watcher.alarms, now_ms)
        ):
            self._states.forget()
        if self._heartbeat is not None:
            self._heartbeat.tick(watcher.alarms)

    def close(self) -> None:
        """Let what is under way end, for a moment."""
        if self._herald is not None:
            self._herald.close()
        if self._heartbeat is not None:
            self._heartbeat.close()
