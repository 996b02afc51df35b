"""A message that proves the whole way: outbox, delivery process, service, for every address;
with a picture and a link beside it, as an alarm has them."""

from __future__ import annotations

import secrets
import subprocess
import sys
import time
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

from analysis.watch.addresses import Address, read_addresses, read_others
from analysis.watch.alarm_file import open_alarms, speaking_of, transaction
from analysis.watch.outbox import TRIAL, Message, Outbox, Urgency
from analysis.watch.roster import placed
from analysis.watch.states import AlarmKey, Kind
from analysis.words import local_time, plain
from collector.book.book import Book
from collector.book.records import Zone
from collector.clock import wall_clock_ms
from config.errors import NotSo

if TYPE_CHECKING:
    from config.home import Home
    from config.settings import Settings

_PAUSE_SECONDS = 0.5


@dataclass(frozen=True, slots=True)
class Trial:
    """What became of it at one address: taken after so many seconds, or why not."""

    label: str
    seconds: float
    fault: str | None = None


def send_trial(home: Home, settings: Settings, *, wait_seconds: float) -> list[Trial]:
    """Send one message to every address, and wait for what becomes of it.

    Raises NotSo without an address, and StoreFault.
    """
    addresses = _addresses(home, settings)
    now_ms = wall_clock_ms()
    message = _message(home, settings, now_ms)
    began_s = time.monotonic()
    with (
        speaking_of(home.alarms),
        closing(open_alarms(home.alarms)) as connection,
        transaction(connection),
    ):
        Outbox(connection).put(message, [one.digest for one in addresses], now_ms)
    found: dict[str, Trial] = {}
    while len(found) < len(addresses) and time.monotonic() - began_s < wait_seconds:
        _deliver(home)
        _look(home, message, addresses, found, began_s)
        time.sleep(_PAUSE_SECONDS)
    return [
        found.get(one.digest) or Trial(one.label, wait_seconds, _why(home, message, one))
        for one in addresses
    ]


def _addresses(home: Home, settings: Settings) -> list[Address]:
    found, faults = read_addresses(home, settings)
    others, more = read_others(home, settings)
    for fault in (*faults, *more):
        raise NotSo(fault)
    addresses = list({one.url: one for one in (*found, *others)}.values())
    if not addresses:
        raise NotSo(f"no address for alarms; name one under [watch] in {home.settings}")
    return addresses


def lacking(home: Home, settings: Settings) -> list[str]:
    """What the message goes without that an alarm should have, and what to do."""
    found = []
    if settings.page.address is None:
        found.append(
            "no link to answer by: [page] address in warmcoil.toml does not say how a phone "
            "reaches the page"
        )
    if not _enclosure(home, wall_clock_ms()):
        found.append("no picture: no probe lies on the warm side of an enclosure")
    return found


def _message(home: Home, settings: Settings, now_ms: int) -> Message:
    reference = f"trial-{secrets.token_hex(4)}"
    enclosure = _enclosure(home, now_ms)
    said = (
        f"Sent on {local_time(now_ms, settings.zone)} to see whether an alarm would arrive here, "
        "and wake you. Nothing is wrong, and nothing needs doing."
    )
    lines = [said]
    if enclosure:
        shown = f"Beside it: the last hours in {plain(enclosure)}, where the service takes pictures"
        lines.append(f"{shown}.")
    # No alarm's. Its reference stands in its place, too: no other message waits behind it.
    key = AlarmKey(cast("Kind", TRIAL), enclosure, reference)
    title = "A trial: this is how an alarm arrives"
    body = "\n".join([*lines, f"Message {reference}"])
    return Message(reference, key, Urgency.HIGH, title, body)


def _enclosure(home: Home, now_ms: int) -> str:
    """The enclosure that is shown beside it: the first with a probe on its warm side."""
    if not home.book.exists():
        return ""
    with Book(home.book, read_only=True) as book:
        there = [
            one.enclosure
            for one in book.placements()
            if one.zone is Zone.WARM_SIDE and placed(one, now_ms)
        ]
    return min(there, default="")


def _deliver(home: Home) -> None:
    """As the watch does it. Where one is running already it ends at once."""
    subprocess.run(  # noqa: S603  # our own module, by name
        [sys.executable, "-m", "analysis.watch.deliver", "--home", str(home.folder)],
        check=False, stdin=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip


def _look(
    home: Home, message: Message, addresses: list[Address], found: dict[str, Trial], began_s: float
) -> None:
    labels = {one.digest: one.label for one in addresses}
    for row in _rows(home, message):
        digest = row["address"]
        if row["state"] != "waiting" and digest in labels and digest not in found:
            fault = None if row["state"] == "delivered" else row["fault"]
            found[digest] = Trial(labels[digest], time.monotonic() - began_s, fault)


def _why(home: Home, message: Message, address: Address) -> str:
    for row in _rows(home, message):
        if row["address"] == address.digest and row["fault"]:
            return f"{row['fault']}; it is tried again"
    return "no answer yet; it is tried again"


def _rows(home: Home, message: Message) -> list[dict[str, str | None]]:
    with speaking_of(home.alarms), closing(open_alarms(home.alarms)) as connection:
        rows = connection.execute(
            "SELECT address, state, fault FROM delivery JOIN outbox USING (message) "
            "WHERE reference = ?",
            (message.reference,),
        )
        return [dict(row) for row in rows]
