"""One address, opened with apprise, and one message sent there. Only the delivery loads this."""

from __future__ import annotations

import logging
from contextvars import ContextVar
from pathlib import Path
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


_REFERENCE_HEADERS = {
    # A service that keeps it knows a repeat (IETF draft "The Idempotency-Key HTTP Header Field").
    **dict.fromkeys(("json", "jsons", "xml", "xmls", "form", "forms"), "Idempotency-Key"),
    **dict.fromkeys(("mailto", "mailtos"), "X-Warmcoil-Reference"),  # apprise makes the Message-ID
}

_WORDS: ContextVar[list[str] | None] = ContextVar("words", default=None)
"""What apprise said while one message was sent. apprise may send in a thread of its own, but it
takes the context along."""


class _Listener(logging.Handler):
    """Hears apprise's warnings: they say why, and may say where, so they are never shown as is."""

    def emit(self, record: logging.LogRecord) -> None:
        words = _WORDS.get()
        if words is not None:
            words.append(record.getMessage())


_LISTENER = _Listener(logging.WARNING)


def quieten() -> None:
    """Let neither apprise nor the libraries under it write logs: addresses would stand in them."""
    logger = logging.getLogger("apprise")
    logger.handlers = [_LISTENER]
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

    def __init__(self, address: Address, apprised: Any) -> None:
        self.address = address
        self._apprised = apprised

    @property
    def takes_pictures(self) -> bool:
        """True when the service can be sent one."""
        return all(one.attachment_support for one in self._apprised)

    def send(
        self, delivery: Delivery, body: str | None = None, picture: Path | None = None
    ) -> str | None:
        """Send it; None when the service took it, else why not, without secrets.

        `body` stands in place of its own; `picture` is a file beside it.
        """
        self._carry(delivery.reference)
        words: list[str] = []
        token = _WORDS.set(words)
        try:
            taken = self._apprised.notify(
                title=delivery.title,
                body=delivery.body if body is None else body,
                notify_type=_TYPES[delivery.urgency],
                attach=str(picture) if picture is not None else None,
                body_format=apprise.NotifyFormat.TEXT,  # so that its lines survive in HTML mail
            )
        except Exception as fault:  # noqa: BLE001  # some hundred services, each with its own
            return f"the service failed with {type(fault).__name__}"
        finally:
            _WORDS.reset(token)
        if taken:
            return None
        return self.address.scrubbed(words[-1] if words else "the service did not take it")

    def _carry(self, reference: str) -> None:
        """Put the reference where a repeat can be known by it, where the service has a place."""
        name = _REFERENCE_HEADERS.get(self.address.url.partition("://")[0].lower())
        for service in self._apprised:
            if name is not None and isinstance(getattr(service, "headers", None), dict):
                service.headers[name] = reference


def sender_of(address: Address) -> Sender | None:
    """A sender, or None when apprise cannot make anything of the address."""
    asset = _asset()
    try:
        service = apprise.Apprise.instantiate(address.url, asset=asset, suppress_exceptions=True)
    except Exception:  # noqa: BLE001  # the text of what it raises may hold the address
        return None
    if service is None:
        return None
    apprised = apprise.Apprise(asset=asset)
    apprised.add(service)
    return Sender(address, apprised)
