"""`python -m analysis.watch.deliver --home DIR`: deliver what waits in the outbox, and end.

A process of its own, because apprise is heavy and a service may hang: it is started by the watch
when something waits, there is never a second one, and it ends itself after a time limit.
"""

from __future__ import annotations

import argparse
import logging
import re
import signal
import sqlite3
import sys
import threading
import time
import warnings
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.watch.addresses import Address, read_addresses, read_others
from analysis.watch.alarm_file import open_alarms, speaking_of
from analysis.watch.beside import Beside
from analysis.watch.locks import OnlyOne
from analysis.watch.logs import log_to_stderr
from analysis.watch.outbox import Delivery, Outbox
from collector.clock import wall_clock_ms
from config.errors import WarmcoilError
from config.home import Home
from config.settings import load_settings

if TYPE_CHECKING:
    from analysis.watch.sender import Sender

TIME_LIMIT_SECONDS = 120
"""After this the process is ended by the kernel, whatever a service is doing."""
ENOUGH_SECONDS = 60.0
"""After this no other message is begun, so that the limit cuts none off, which would be sent twice;
the watch starts the next run at once."""
_FAILURES_A_RUN = 2
_DOUBTFUL = 12
"""After so many attempts a message is doubted also where the service has not refused it."""
_REFUSED = re.compile(r"error=4(?!08|25|29)[0-9]{2}\b")
"""HTTP 4xx: the request is at fault (RFC 9110 §15.5); 408, 425 and 429 ask to come back."""
_AT_ONCE = 8
_LOG = logging.getLogger(__name__)


def deliver(
    alarms: Path,
    senders: Sequence[Sender],
    first_wait_ms: int,
    stop: threading.Event,
    now_ms: Callable[[], int] = wall_clock_ms,
    *,
    beside: Beside | None = None,
    enough_seconds: float | None = None,
) -> None:
    """Try everything that is due, at all addresses at once, so that none waits for another."""
    if not senders:
        return
    enough_s = ENOUGH_SECONDS if enough_seconds is None else enough_seconds
    one = partial(
        _deliver_to,
        alarms=alarms,
        first_wait_ms=first_wait_ms,
        stop=stop,
        now_ms=now_ms,
        beside=beside,
        until_s=time.monotonic() + enough_s,
    )
    with ThreadPoolExecutor(min(len(senders), _AT_ONCE)) as pool:
        for _ in pool.map(one, senders):
            pass  # a fault of the file is raised here


def _deliver_to(
    sender: Sender,
    *,
    alarms: Path,
    first_wait_ms: int,
    stop: threading.Event,
    now_ms: Callable[[], int],
    beside: Beside | None,
    until_s: float,
) -> None:
    with speaking_of(alarms), closing(open_alarms(alarms)) as connection:
        outbox = Outbox(connection, first_wait_ms)
        outbox.pass_over(sender.address.digest, now_ms())
        tried: set[int] = set()
        failures = 0
        while failures < _FAILURES_A_RUN and not stop.is_set() and time.monotonic() < until_s:
            delivery = outbox.next_delivery(sender.address.digest, now_ms(), tried)
            if delivery is None:
                return
            tried.add(delivery.number)
            outbox.begin(delivery, now_ms())
            fault = _send(sender, delivery, beside, now_ms())
            label, reference = sender.address.label, delivery.reference
            if fault is None:
                outbox.delivered(delivery, now_ms())
                _LOG.info("message %s delivered to %s", reference, label)
            else:
                failures += 1
                outbox.failed(delivery, fault)
                _LOG.warning("message %s not delivered to %s: %s", reference, label, fault)
                if not _may_be_the_message(fault, delivery.attempts + 1):
                    break  # the address does not answer: nothing overtakes
        if failures:
            outbox.postpone(sender.address.digest, now_ms())


def _may_be_the_message(fault: str, attempts: int) -> bool:
    """True where the service speaks against this message, and the one behind it may be tried."""
    return _REFUSED.search(fault) is not None or attempts >= _DOUBTFUL


def _send(sender: Sender, delivery: Delivery, beside: Beside | None, now_ms: int) -> str | None:
    """Send it with what goes beside it. A picture only at the first attempt: one that a service
    chokes on must not keep the words from arriving."""
    if beside is None:
        return sender.send(delivery)
    with_picture = delivery.attempts == 0 and sender.takes_pictures
    picture = beside.picture(delivery, now_ms) if with_picture else None
    return sender.send(delivery, beside.body(delivery, now_ms), picture)


def _usable(
    addresses: Sequence[Address], connection: sqlite3.Connection, *, say: bool
) -> list[Sender]:
    from analysis.watch.sender import quieten, sender_of  # noqa: PLC0415  # apprise is heavy

    quieten()
    senders = []
    for address in addresses:
        sender = sender_of(address)
        if sender is not None:
            senders.append(sender)
            continue
        if say:
            _LOG.error("%s: apprise cannot use this address; no alarm goes there", address.label)
        reason = "apprise cannot use the address"
        Outbox(connection).refuse(address.digest, wall_clock_ms(), reason)
    return senders


def run(home: Home, *, check: bool, stop: threading.Event) -> None:
    """Deliver for this home, unless another process is doing so. `check`: name bad addresses."""
    lock = OnlyOne(home.alarms.with_name("deliver.lock"))
    mine = lock.take()
    if not mine and not check:
        return
    try:
        settings = load_settings(home)
        addresses = [*read_addresses(home, settings)[0], *read_others(home, settings)[0]]
        addresses = list({one.url: one for one in addresses}.values())
        with speaking_of(home.alarms), closing(open_alarms(home.alarms)) as connection:
            senders = _usable(addresses, connection, say=check)
        if mine:
            first_wait_ms = round(settings.watch.every_seconds * 1000)
            with Beside(home, settings) as beside:
                deliver(home.alarms, senders, first_wait_ms, stop, beside=beside)
    finally:
        lock.release()


def main(arguments: Sequence[str] | None = None) -> int:
    """The process: exit code 0 when everything due was tried."""
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    signal.alarm(TIME_LIMIT_SECONDS)
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    # The watch waits for its signals with these blocked, and a child inherits that.
    signal.pthread_sigmask(signal.SIG_UNBLOCK, (signal.SIGTERM, signal.SIGINT))
    parser = argparse.ArgumentParser(prog="python -m analysis.watch.deliver")
    parser.add_argument("--home", type=Path, required=True, metavar="DIR")
    parser.add_argument("--check", action="store_true", help="name addresses that cannot be used")
    given = parser.parse_args(arguments)
    log_to_stderr()
    warnings.simplefilter("ignore")  # a library's warning may name a host
    sys.excepthook = _short_hook
    try:
        run(Home(given.home), check=given.check, stop=stop)
    except WarmcoilError as fault:
        _LOG.error("%s", fault)  # one line for a keeper
        return fault.exit_code
    return 0


def _short_hook(kind: type[BaseException], fault: BaseException, _: object) -> None:
    """What was not expected, without its text: an address may stand in it."""
    where = fault.__traceback__
    while where is not None and where.tb_next is not None:
        where = where.tb_next
    place = f"{where.tb_frame.f_code.co_name}, line {where.tb_lineno}" if where else "start"
    _LOG.critical("the delivery ended: %s in %s", kind.__name__, place)


if __name__ == "__main__":
    sys.exit(main())
