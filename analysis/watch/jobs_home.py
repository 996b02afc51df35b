"""The jobs of one home, put together from its settings."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Sequence
from datetime import time as time_of_day
from typing import get_args

from analysis.watch.jobs import AtOnce, Job, Jobs, Look
from analysis.watch.jobs_apart import Apart
from analysis.watch.jobs_due import Daily, Weekly
from analysis.watch.jobs_kept import JobFile, Note
from analysis.watch.jobs_meals import PREFIXES, MealLooks
from collector.clock import Clock
from config.care import CareProfile
from config.home import Home
from config.settings import Settings, Weekday

BACKUP = "nightly backup"
REVIEW = "weekly review"
ALL_WELL = "weekly all-well"
THIN = "nightly thinning"
TIDY = "tidying of old messages"

AllWell = Callable[[int], Note | None]
"""The week's "all well" at a time (UTC ms); None when not all is well."""

_TIDY_AT = time_of_day(4, 10)
_THIN_AT = time_of_day(4, 20)
_LIMIT_SECONDS = 3660.0


def jobs_of(
    home: Home,
    settings: Settings,
    care: CareProfile,
    file: JobFile,
    clock: Clock,
    *,
    tidy: Callable[[int], None],
    all_well: AllWell | None = None,
    more_looks: Collection[Look] = (),
    monotonic: Callable[[], float] = time.monotonic,
) -> Jobs:
    """Everything that is done regularly beside the evaluations."""
    meals = MealLooks(home, care, settings, monotonic)
    return Jobs(
        _regular(home, settings, file, tidy, all_well, monotonic),
        (meals.reminders, meals.questions, *more_looks),
        file=file,
        clock=clock,
        zone=settings.zone,
        monotonic=monotonic,
    )


def _regular(  # noqa: PLR0917  # the parts of jobs_of, once each
    home: Home,
    settings: Settings,
    file: JobFile,
    tidy: Callable[[int], None],
    all_well: AllWell | None,
    monotonic: Callable[[], float],
) -> Sequence[Job]:
    watch, folder = settings.watch, str(home.folder)
    weekly = Weekly(get_args(Weekday).index(watch.weekly_on), watch.weekly_at)

    def tidied(_: int, now_ms: int) -> list[Note]:
        tidy(now_ms)
        file.tidy(PREFIXES, now_ms)
        return []

    def well(_: int, now_ms: int) -> list[Note]:
        note = all_well(now_ms) if all_well is not None else None
        return [note] if note is not None else []

    review = ["analysis.weekly", "--home", folder]
    copy = ["analysis.watch.jobs_backup", "--home", folder]
    jobs = [
        Job(TIDY, Daily(_TIDY_AT), AtOnce(tidied), "See that the disk is well and has room."),
        Job(
            REVIEW, weekly, Apart(REVIEW, review, _LIMIT_SECONDS, monotonic),
            "Try it by hand: warmcoil review",
        ),
    ]  # fmt: skip
    if watch.backups_kept:
        work = Apart(BACKUP, copy, _LIMIT_SECONDS, monotonic)
        step = "See that the disk is well and has room; try it by hand: warmcoil backup"
        jobs.insert(0, Job(BACKUP, Daily(watch.backup_at), work, step))
    if settings.thins:
        work = Apart(THIN, ["analysis.thinning", "--home", folder], _LIMIT_SECONDS, monotonic)
        jobs.append(Job(THIN, Daily(_THIN_AT), work, "Try it by hand: warmcoil thin"))
    if all_well is not None:
        jobs.append(Job(ALL_WELL, weekly, AtOnce(well)))
    return jobs
