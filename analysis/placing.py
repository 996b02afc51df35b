"""Moving a probe: the same for the command line and the page."""

from __future__ import annotations

from collector.book.book import Book
from collector.book.records import Placement, Zone
from config.errors import NotSo, Unusable
from config.settings import Settings


def enclosure_named(book: Book, name: str) -> str:
    """The enclosure of that name, however its letters are cased. Raises NotSo naming those there
    are."""
    names = [one.enclosure for one in book.enclosures()]
    alike = [one for one in names if one.casefold() == name.casefold()]
    if name in names or len(alike) == 1:
        return name if name in names else alike[0]
    known = ", ".join(names) or "none yet"
    raise NotSo(
        f"no enclosure {name!r} in the book; there are: {known}. "
        f"A new one: warmcoil new enclosure {name!r}"
    )


def zone_named(text: str) -> Zone:
    """A zone by its name or the first word of it. Raises Unusable."""
    fits = [zone for zone in Zone if zone == text.lower() or zone.startswith(f"{text.lower()} ")]
    if len(fits) == 1:
        return fits[0]
    raise Unusable(f"{text!r} is no zone; there are: {', '.join(Zone)}")


def probe_named(settings: Settings, text: str) -> str:
    """A probe by its identity, or by the name that the settings give it."""
    named = [probe.id for probe in settings.probe if probe.name == text]
    return named[0] if len(named) == 1 else text


def lying(book: Book, probe: str, at_ms: int) -> Placement | None:
    """Where a probe lay just before a moment, or None."""
    there = [
        one
        for one in book.placements(probe)
        if one.since_ms < at_ms and (one.until_ms is None or one.until_ms > at_ms)
    ]
    return there[-1] if there else None
