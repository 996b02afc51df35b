"""`warmcoil thin`: old readings become hours, now instead of at night; or only say which would."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from analysis.cli.common import HomeOption, home_at
from config.errors import NotSo
from config.settings import load_settings

if TYPE_CHECKING:
    from collector.clock import Clock
    from config.home import Home
    from config.settings import Settings


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command()(thin)


def thin(
    *,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Only say what would be thinned.")
    ] = False,
    home: HomeOption = None,
) -> None:
    """Keep readings older than [retention] raw_days by the hour alone: lowest, mean and highest.

    Days around meals stay raw for ever. On an InfluxDB: copy hours and such days into its
    lasting bucket. The watch does the same every night.
    """
    from analysis.thinning import keep_what_lasts
    from collector.clock import Clock

    where = home_at(home)
    settings = load_settings(where)
    clock = Clock(settings.collect.wait_for_clock)
    if settings.archive.kind == "influxdb":
        copied = keep_what_lasts(where, settings, clock, only_count=dry_run)
        typer.echo(
            f"{copied.hours} probe-days by the hour and {copied.raw} raw ones, most of them around "
            f"meals, {'would be ' if dry_run else ''}copied into {settings.archive.lasting_bucket}"
        )
    else:
        _thin_file(where, settings, clock, dry_run=dry_run)


def _thin_file(where: Home, settings: Settings, clock: Clock, *, dry_run: bool) -> None:
    from analysis.thinning import plan_of_home, thin_home
    from collector.store.check import name_of_day

    if dry_run:
        due = plan_of_home(where, settings, clock.now_ms())
        readings, octets = sum(d.count for d in due.days), sum(d.octets for d in due.days)
        days, would = len(due.days), "would be thinned"
    else:
        due, done = thin_home(where, settings, clock)
        readings, octets, days, would = done.readings, done.octets, done.days, "thinned"
        if done.damaged:
            for line in done.damaged:
                typer.echo(f"not thinned: {line}")
            raise NotSo("damaged days stay as they are; see: warmcoil check")
    typer.echo(
        f"{readings} readings of {days} probe-days before {name_of_day(due.before_day)} {would} "
        f"({octets / 1e6:.1f} MB); {due.for_meals} probe-days as old stay raw, around meals"
    )
