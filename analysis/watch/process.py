"""The watch put together: its parts, its arguments, its exit codes."""

from __future__ import annotations

import argparse
import logging
import os
import sys
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

from analysis.watch.addresses import read_addresses, read_others
from analysis.watch.alarm_store import AlarmStore
from analysis.watch.all_well import all_well_of
from analysis.watch.courier import Courier
from analysis.watch.facts import Facts
from analysis.watch.foretell import foretell
from analysis.watch.gather import Gatherer
from analysis.watch.jobs_home import jobs_of
from analysis.watch.jobs_kept import JobFile
from analysis.watch.locks import OnlyOne
from analysis.watch.logs import log_to_stderr
from analysis.watch.outcry import Outcry, cry
from analysis.watch.outside import Outside
from analysis.watch.quiet_hours import quiet_hours
from analysis.watch.roster import RosterReader
from analysis.watch.rule_figures import rules_of
from analysis.watch.service import Service
from analysis.watch.watcher import Parts, Watcher
from collector.clock import Clock, wall_clock_ms
from collector.store.opening import open_reader
from config.care import load_care_profile
from config.errors import NotSo, StoreFault, Unusable, WarmcoilError
from config.home import Home
from config.settings import load_settings

_LOG = logging.getLogger(__name__)


def watch(home: Home) -> int:
    """Run the watch of this home until it is asked to end; the exit code."""
    settings = load_settings(home)
    if settings.archive.kind == "influxdb":
        _let_connections_be_made()
    care = load_care_profile(settings.care.profile, home.folder / "care")
    rules = rules_of(care, settings)
    addresses, faults = read_addresses(home, settings)
    others, more_faults = read_others(home, settings)
    digests = [address.digest for address in addresses]
    other_digests = [address.digest for address in others]
    quiet = quiet_hours(settings)
    lock = OnlyOne(home.alarms.with_name("watch.lock"))
    if not lock.take():
        raise NotSo(f"{home.folder}: a watch runs for this home already")
    with ExitStack() as stack:
        store = stack.enter_context(AlarmStore(home.alarms, quiet.hold if quiet else None))
        for fault in (*faults, *more_faults):
            _LOG.error("%s", fault)
        if not addresses:
            _LOG.warning(
                "alarms have nowhere to go: they are kept and logged; name an address under "
                "[watch] in %s",
                home.settings,
            )
        reader = stack.enter_context(open_reader(home, settings, patient=True))
        before = store.watching()
        clock = Clock(settings.collect.wait_for_clock, before.seen_ms if before else None)
        rosters = RosterReader(home, care, settings)
        gatherer = Gatherer(reader, rules, foretell)
        parts = Parts(
            settings, rules, store, gatherer, rosters, Facts(home), digests, other_digests
        )
        watcher = Watcher(parts, clock)
        known = list(dict.fromkeys([*digests, *other_digests]))
        courier = Courier(home.folder, store, known, every_seconds=settings.watch.every_seconds)
        outside = Outside(home, settings)

        outcry = Outcry(home, settings.watch.every_seconds)

        def evaluate() -> None:
            with outcry.listening():
                try:
                    watcher.cycle()
                    after_minutes = settings.watch.tell_others_after_minutes
                    store.tell_others(other_digests, after_minutes, wall_clock_ms())
                finally:
                    # What waits is delivered, also while the readings cannot be read.
                    courier.tick(wall_clock_ms())
            outside.tell(watcher, wall_clock_ms())

        job_file = stack.enter_context(JobFile(home.alarms, digests, quiet.hold if quiet else None))
        all_well = all_well_of(
            home, settings, store=store, reader=reader, rosters=rosters, fresh_ms=rules.silence_ms
        )
        jobs = jobs_of(home, settings, care, job_file, clock, tidy=store.tidy, all_well=all_well)
        code = Service(evaluate, jobs.tick, settings.watch.every_seconds).run()
        jobs.close()
        courier.close()
        outside.close()
        _last_checkpoint(watcher)
    lock.release()
    return code


def _let_connections_be_made() -> None:
    """InfluxDB's client needs what `__main__` holds off."""
    for name in ("ssl", "_hashlib"):
        if name in sys.modules and sys.modules[name] is None:
            del sys.modules[name]


def _last_checkpoint(watcher: Watcher) -> None:
    try:
        watcher.checkpoint()
    except StoreFault as fault:
        _LOG.error("%s", fault)  # one line; the next start looks further back


def main(arguments: Sequence[str] | None = None) -> int:
    """The process."""
    parser = argparse.ArgumentParser(prog="python -m analysis.watch")
    parser.add_argument("--home", type=Path, metavar="DIR", default=os.environ.get("WARMCOIL_HOME"))
    given = parser.parse_args(arguments)
    log_to_stderr()
    try:
        if given.home is None:
            raise Unusable("which home? give --home DIR, or set WARMCOIL_HOME")
        home = Home(Path(given.home).expanduser().absolute())
        try:
            return watch(home)
        except StoreFault as fault:
            cry(home, fault)
            raise
    except WarmcoilError as fault:
        print(fault, file=sys.stderr)  # noqa: T201  # one line for the keeper
        return fault.exit_code
