"""The collector process: `python -m collector --home DIR`. Probes to store, until stopped."""

from __future__ import annotations

import logging
import os
import signal
import sys
from collections.abc import Sequence
from contextlib import ExitStack, closing
from functools import partial
from pathlib import Path
from types import FrameType

from collector.backoff import Backoff
from collector.clock import Clock, wall_clock_ms
from collector.collecting import Collecting
from collector.compose import decoders_of, sources_of
from collector.corrections import Corrections
from collector.counts import Counts
from collector.deliveries import Deliveries
from collector.frame import Inbox
from collector.haste import Pace
from collector.newcomers import Newcomers
from collector.pipeline import Pipeline
from collector.plausible import Judge
from collector.readings import Reading
from collector.sealer import Sealer
from collector.service import SignsOfLife, log_to_stderr, only_one
from collector.state import StateFile
from collector.store.journal import Journal
from collector.store.opening import open_archive, open_reader
from config.errors import Unusable, WarmcoilError
from config.home import Home
from config.settings import Settings, load_settings

log = logging.getLogger("collector")

_RETRY_FIRST_S, _RETRY_MOST_S = 1.0, 60.0


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the collector; returns the exit code."""
    log_to_stderr("collector")
    try:
        return collect(Home(home_folder(sys.argv[1:] if arguments is None else arguments)))
    except WarmcoilError as fault:
        print(f"collector: {fault}", file=sys.stderr)  # noqa: T201 — the one line of a bad start
        return fault.exit_code


def home_folder(arguments: Sequence[str]) -> Path:
    """The folder that `--home` or WARMCOIL_HOME names. Raises Unusable.

    Read by hand: the standard library's parser would cost a megabyte for years.
    """
    match list(arguments):
        case []:
            folder = os.environ.get("WARMCOIL_HOME", "")
        case ["--home", folder]:
            pass
        case [one] if one.startswith("--home="):
            folder = one.removeprefix("--home=")
        case _:
            raise Unusable("usage: python -m collector --home DIR")
    if not folder:
        raise Unusable("no home given; say --home DIR, or set WARMCOIL_HOME")
    return Path(folder)


def collect(home: Home) -> int:
    """Collect into `home` until SIGTERM or SIGINT; returns the exit code. Raises WarmcoilError."""
    settings = load_settings(home)
    with ExitStack() as stack:
        stack.enter_context(only_one(home.folder / "collector.lock", "collector"))
        home.readings.mkdir(exist_ok=True)
        newest = _newest(home, settings)
        journal = stack.enter_context(
            closing(Journal(home.journal, sync_seconds=settings.collect.sync_seconds))
        )
        sealer = stack.enter_context(closing(_sealer(home, settings, journal)))
        # What a process left behind: else all its receipts, of an hour perhaps, were in memory.
        sealer.seal()
        collecting = compose(home, settings, journal, sealer, newest)
        _stop_on_signals(collecting)
        code = collecting.run()
    log.info("stopped")
    return code


def compose(
    home: Home, settings: Settings, journal: Journal, sealer: Sealer, newest: Sequence[Reading]
) -> Collecting:
    """Put the parts together. `newest` holds the newest stored reading of every series."""
    counts = Counts(wall_clock_ms)
    inbox = Inbox(settings.collect.queue_frames, counts)
    sources = sources_of(settings, inbox, counts)
    if not sources:
        log.warning("%s: names no source of readings; nothing will be collected", home.settings)
    pipeline = Pipeline(
        decoders=decoders_of(settings, sources),
        corrections=Corrections(settings.probe, home.book),
        judge=_judge(settings, newest),
        journal=journal,
        clock=Clock(
            wait_for_clock=settings.collect.wait_for_clock,
            newest_ms=max((reading.at_ms for reading in newest), default=None),
        ),
        counts=counts,
        deliveries=Deliveries(journal.receipts()),
        pace=Pace(settings.collect.commit_seconds, home.haste),
        newcomers=Newcomers(reading.key for reading in newest),
        most_readings=settings.collect.queue_frames,
        retry=Backoff(_RETRY_FIRST_S, _RETRY_MOST_S),
    )
    return Collecting(
        sources=sources,
        inbox=inbox,
        pipeline=pipeline,
        sealer=sealer,
        state=StateFile(home.collector_state, counts, pipeline, wall_clock_ms),
        life=SignsOfLife(),
    )


def _sealer(home: Home, settings: Settings, journal: Journal) -> Sealer:
    every_s = settings.collect.seal_minutes * 60.0
    remote = settings.archive.kind != "sqlite"
    server = partial(open_archive, home, settings) if remote else None
    return Sealer(journal, home.archive, every_s, open_server=server)


def _newest(home: Home, settings: Settings) -> list[Reading]:
    with open_reader(home, settings, patient=True) as reader:
        return list(reader.latest().values())


def _judge(settings: Settings, newest: Sequence[Reading]) -> Judge:
    sensors = {probe.id: probe.sensor for probe in settings.probe if probe.sensor is not None}
    judge = Judge(settings.plausibility, sensors)
    for reading in newest:
        judge.remember(reading)
    return judge


def _stop_on_signals(collecting: Collecting) -> None:
    def stop(_number: int, _frame: FrameType | None) -> None:
        collecting.stop()

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, stop)


if __name__ == "__main__":
    sys.exit(main())
