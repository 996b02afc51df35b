"""Which archive a home has: the settings say it, here alone. What is not chosen is not loaded."""

from __future__ import annotations

from typing import TYPE_CHECKING

from collector.store.archive import Archive
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive

if TYPE_CHECKING:
    from collector.store.influx_archive import InfluxArchive
    from config.home import Home
    from config.settings import Settings

# ruff: noqa: PLC0415  imports stand where they are needed: the client costs 31 MB for years


def open_archive(home: Home, settings: Settings) -> Archive:
    """The home's archive, to write to. Raises StoreFault, BadSettings."""
    if settings.archive.kind == "influxdb":
        return _on_server(settings)
    return SqliteArchive(home.archive)


def open_old_archive(home: Home, settings: Settings) -> Archive:
    """The archive of the kind that the settings do not choose, to read what it still holds.

    Raises StoreFault, and BadSettings when they do not say where an InfluxDB is.
    """
    if settings.archive.kind == "influxdb":
        return SqliteArchive(home.archive, read_only=True)
    return _on_server(settings)


def open_reader(home: Home, settings: Settings, *, patient: bool = False) -> Reader:
    """The home's readings, journal and archive as one. Raises BadSettings.

    A `patient` one goes on with the journal where a server is away; see `influx_reading`.
    """
    if settings.archive.kind == "influxdb":
        from collector.store.influx_reading import InfluxReading

        server = InfluxReading(_on_server(settings), patient=patient)
        return Reader(home.journal, server)
    return Reader(home.journal, home.archive)


def _on_server(settings: Settings) -> InfluxArchive:
    if settings.archive.lasting_bucket is not None:
        from collector.store.influx_lasting import LastingArchive

        return LastingArchive(settings.archive)
    from collector.store.influx_archive import InfluxArchive

    return InfluxArchive(settings.archive)
