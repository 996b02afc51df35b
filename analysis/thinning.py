"""`python -m analysis.thinning --home DIR --due MS --now MS`: old days of readings become hours.

Raw readings are kept for `[retention] raw_days`, and around meals for ever (`kept_raw`). Never
thinned: the newest day of a series, by which it is known what its probe said last; and, whatever
the clock says, the newest `raw_days` days that have readings at all. So a clock gone wrong thins
nothing that is not old by the readings' own count.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from analysis.kept_raw import KeptRaw, kept_raw
from analysis.watch.jobs_process import Told, run_job
from collector.book.book import Book
from collector.book.check import check_book
from collector.clock import Clock
from collector.store.columns import DAY_MS
from collector.store.reader import Reader
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
    """The same for a home. Raises NotSo without `raw_days`, or where a server keeps the readings;
    and StoreFault for a book that cannot say where the meals are."""
    raw = settings.retention.raw_days
    if raw is None:
        raise NotSo(
            "all readings are kept raw; to thin old ones, set raw_days under [retention] in "
            f"{home.settings}"
        )
    if settings.archive.kind != "sqlite":
        raise NotSo(f"{settings.archive.url} keeps the readings: only a file's can be thinned")
    if not home.book.is_file():
        raise StoreFault(f"{home.book} is not there: nobody knows which days are of meals")
    for fault in check_book(home.book):
        raise StoreFault(f"{fault}; nothing is thinned by a damaged book")
    care = load_care_profile(settings.care.profile, home.folder / "care")
    with Book(home.book, read_only=True, zone=settings.zone) as book:
        kept = kept_raw(book, care, settings)
    return plan(raw_days(home.archive), raw, kept, now_ms)


def thin_home(
    home: Home,
    settings: Settings,
    clock: Clock,
    stopping: Callable[[], bool] = lambda: False,
) -> tuple[Plan, Thinned]:
    """Thin what is due, until `stopping` says so; what was planned, and what was done.

    Raises like `plan_of_home`, and StoreFault when the clock is not sure.
    """
    with Reader(home.journal, home.archive) as reader:
        clock.newest_ms = max((one.at_ms for one in reader.latest().values()), default=None)
    if not clock.sure():
        raise StoreFault("the clock is not sure yet: nothing is thinned by it")
    due = plan_of_home(home, settings, clock.now_ms())
    gap_ms = settings.review.gap_minutes * 60_000
    return due, thin(home.archive, due.days, gap_ms, stopping)


def _job(home: Home, due_ms: int, now_ms: int) -> Told | None:  # noqa: ARG001  # as every job
    settings = load_settings(home)
    end_s = time.monotonic() + _AT_WORK_SECONDS
    clock = Clock(settings.collect.wait_for_clock, now_ms=lambda: now_ms)
    _, done = thin_home(home, settings, clock, lambda: time.monotonic() > end_s)
    if done.damaged:
        raise StoreFault(f"{done.damaged[0]}; that day stays as it is; run: warmcoil check")
    return None


if __name__ == "__main__":
    run_job("analysis.thinning", _job, _TIME_LIMIT_SECONDS)
