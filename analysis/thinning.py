"""`python -m analysis.thinning --home DIR --due MS --now MS`: old days of readings become hours.

Raw readings are kept for `[retention] raw_days`, and around meals for ever (`kept_raw`). Never
thinned: the newest day of a series, by which it is known what its probe said last; and, whatever
the clock says, the newest `raw_days` days that have readings at all. So a clock gone wrong thins
nothing that is not old by the readings' own count.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass

from analysis.kept_raw import KeptRaw, kept_raw
from analysis.lasting import Lasting, keep_lasting
from analysis.watch.jobs_process import Told, run_job
from collector.book.book import Book
from collector.book.check import check_book
from collector.clock import Clock
from collector.store.columns import DAY_MS
from collector.store.influx_lasting import LastingArchive
from collector.store.opening import open_archive, open_reader
from collector.store.thinning import RawDay, Thinned, raw_days, thin
from config.care import load_care_profile
from config.errors import NotSo, StoreFault
from config.home import Home
from config.settings import Settings, load_settings

_TIME_LIMIT_SECONDS = 3600
_AT_WORK_SECONDS = 3000.0
"""Then the rest waits for the next night: years at once take a small board hours."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to be thinned: days older than `before_day` (counted from 1970) that no meal needs.

    `for_meals` are the days as old as these that stay raw because of one.
    """

    days: tuple[RawDay, ...]
    for_meals: int
    before_day: int


def plan(days: Sequence[RawDay], raw: int, kept: KeptRaw, now_ms: int) -> Plan:
    """Which of a store's raw `days` become hours when the newest `raw` days stay. Pure."""
    dated = sorted({one.day for one in days})
    before = now_ms // DAY_MS - raw
    before = min(before, dated[-raw]) if len(dated) >= raw else min(dated, default=before)
    newest: dict[int, int] = {}
    for one in days:
        newest[one.series] = max(one.day, newest.get(one.series, one.day))
    old = [one for one in days if one.day < before and one.day != newest[one.series]]
    free = tuple(one for one in old if not kept.keeps(one.key.probe, one.day))
    return Plan(free, len(old) - len(free), before)


def plan_of_home(home: Home, settings: Settings, now_ms: int) -> Plan:
    """The same for a home that keeps its readings itself. Raises NotSo without `raw_days`, and
    StoreFault for a book that cannot say where the meals are."""
    raw = settings.retention.raw_days
    if raw is None:
        raise NotSo(
            "all readings are kept raw; to thin old ones, set raw_days under [retention] in "
            f"{home.settings}"
        )
    return plan(raw_days(home.archive), raw, _kept(home, settings), now_ms)


def thin_home(
    home: Home, settings: Settings, clock: Clock, stopping: Callable[[], bool] = lambda: False
) -> tuple[Plan, Thinned]:
    """Thin what is due, until `stopping` says so; what was planned, and what was done.

    Raises like `plan_of_home`, and StoreFault when the clock is not sure.
    """
    _must_be_sure(clock, home, settings)
    due = plan_of_home(home, settings, clock.now_ms())
    return due, thin(home.archive, due.days, _gap_ms(settings), stopping)


def keep_what_lasts(
    home: Home,
    settings: Settings,
    clock: Clock,
    *,
    only_count: bool = False,
    stopping: Callable[[], bool] = lambda: False,
) -> Lasting:
    """On a server: copy into the lasting bucket what the first one will let go of one day.

    Raises NotSo without such a bucket, StoreFault as `thin_home`.
    """
    archive = open_archive(home, settings)
    with closing(archive):
        if not isinstance(archive, LastingArchive):
            raise NotSo(
                f"{settings.archive.url} keeps all readings; to let it thin old ones, make a "
                "second bucket and name it as lasting_bucket under [archive]"
            )
        _must_be_sure(clock, home, settings)
        return keep_lasting(
            archive, _kept(home, settings), _gap_ms(settings), clock.now_ms(),
            only_count=only_count, stopping=stopping,
        )  # fmt: skip


def _kept(home: Home, settings: Settings) -> KeptRaw:
    if not home.book.is_file():
        raise StoreFault(f"{home.book} is not there: nobody knows which days are of meals")
    for fault in check_book(home.book):
        raise StoreFault(f"{fault}; nothing is thinned by a damaged book")
    care = load_care_profile(settings.care.profile, home.folder / "care")
    with Book(home.book, read_only=True, zone=settings.zone) as book:
        return kept_raw(book, care, settings)


def _must_be_sure(clock: Clock, home: Home, settings: Settings) -> None:
    with open_reader(home, settings) as reader:
        clock.newest_ms = max((one.at_ms for one in reader.latest().values()), default=None)
    if not clock.sure():
        raise StoreFault("the clock is not sure yet: nothing is thinned by it")


def _gap_ms(settings: Settings) -> float:
    return settings.review.gap_minutes * 60_000


def _job(home: Home, due_ms: int, now_ms: int) -> Told | None:  # noqa: ARG001  # as every job
    settings = load_settings(home)
    end_s = time.monotonic() + _AT_WORK_SECONDS
    clock = Clock(settings.collect.wait_for_clock, now_ms=lambda: now_ms)

    def stopping() -> bool:
        return time.monotonic() > end_s

    if settings.archive.kind == "influxdb":
        keep_what_lasts(home, settings, clock, stopping=stopping)
        return None
    _, done = thin_home(home, settings, clock, stopping)
    if done.damaged:
        raise StoreFault(f"{done.damaged[0]}; that day stays as it is; run: warmcoil check")
    return None


if __name__ == "__main__":
    run_job("analysis.thinning", _job, _TIME_LIMIT_SECONDS)
