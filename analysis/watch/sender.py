"""One address, opened with apprise, and one message sent there. Only the delivery loads this."""

from __future__ import annotations

import logging
import threading
from typing import Any

import apprise

from analysis.watch.addresses import Address
from analysis.watch.outbox import Delivery, Urgency

_TYPES = {
    Urgency.HIGH: apprise.NotifyType.FAILURE,
    Urgency.MEDIUM: apprise.NotifyType.WARNING,
    Urgency.LOW: apprise.NotifyType.WARNING,
    Urgency.ALL_CLEAR: apprise.NotifyType.SUCCESS,
    Urgency.NOTE: apprise.NotifyType.INFO,
}


class _LastWords(logging.Handler):
    """Keeps apprise's last warning of each thread: it says why, and may say where; never shown
    as it is."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self._words = threading.local()

    def emit(self, record: logging.LogRecord) -> None:
        self._words.text = record.getMessage()

    def take(self) -> str | None:
        text: str | None = getattr(self._words, "text", None)
        self._words.text = None
        return text


_LAST_WORDS = _LastWords()


def quieten() -> None:
    """Let neither apprise nor the libraries under it write logs: addresses would stand in them."""
    logger = logging.getLogger("apprise")
    logger.handlers = [_LAST_WORDS]
    logger.setLevel(logging.WARNING)
    logger.propagate = False
    for name in ("urllib3", "requests", "paho", "slixmpp"):
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)


def _asset() -> Any:
    # No pictures or links of apprise's own project in a keeper's messages, and no files.
    return apprise.AppriseAsset(
        app_id="Warmcoil",
        app_desc="Warmcoil",
        app_url="",
        image_url_mask="",
        image_url_logo="",
        async_mode=False,
        storage_mode="memory",
        secure_logging=True,
    )


class Sender:
    """An address that apprise understands."""

    def __init__(self, address: Address, service: Any) -> None:
        self.address = address
        self._service = service

    def send(self, delivery: Delivery) -> str | None:
        """Send it; None when the service took it, else why not, without secrets."""
        _LAST_WORDS.take()
        try:
            taken = self._service.notify(
                title=delivery.title, body=delivery.body, notify_type=_TYPES[delivery.urgency]
            )
        except Exception as fault:  # noqa: BLE001  # some hundred services, each with its own
            return f"the service failed with {type(fault).__name__}"
        if taken:
            return None
        return self.address.scrubbed(_LAST_WORDS.take() or "the service did not take it")


def sender_of(address: Address) -> Sender | None:
    """A sender, or None when apprise cannot make anything of the address."""
    try:
        service = apprise.Apprise.instantiate(address.url, asset=_asset(), suppress_exceptions=True)
    except Exception:  # noqa: BLE001  # the text of what it raises may hold the address
        return None
    return None if service is None else Sender(address, service)
